"""Sheets to print: the build sheet after the work, and the order sheet before it."""
