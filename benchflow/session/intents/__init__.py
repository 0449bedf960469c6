"""The intents that the program accepts, and their handlers: one module for each subject."""
