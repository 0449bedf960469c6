"""The history of a job: its log as readable text."""
