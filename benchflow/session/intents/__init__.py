"""The intents, and the decision on each: one module of handlers for each subject."""
