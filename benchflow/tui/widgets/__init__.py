"""The canvas, the entry field, and the page types that screens are made of."""
