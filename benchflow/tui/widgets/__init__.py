"""The canvas, the entry field, and the kinds of page that screens are made of."""
