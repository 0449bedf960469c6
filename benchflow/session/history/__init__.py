"""The log as readable text."""
