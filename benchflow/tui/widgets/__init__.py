"""The canvas, the entry field, and the base classes of the screens."""
