"""Revisions of a procedure: proposals from the jobs that were done by it, and their edits in the file."""
