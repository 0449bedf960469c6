"""Intents and the decision on each: one handler module per subject."""
