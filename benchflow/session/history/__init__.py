"""The history of a job: the log as readable text."""
