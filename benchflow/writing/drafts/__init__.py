"""Drafts of a procedure: from a teardown, from a table or a list."""
