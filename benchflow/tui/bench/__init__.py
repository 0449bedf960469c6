"""The bench: the screen on which an operation is carried out."""
