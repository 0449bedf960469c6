"""The evidence for one complaint: weak points and their ranking."""
