"""The bench: the screen for carrying out an operation."""
