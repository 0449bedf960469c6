"""The bench view: everything that the bench screen shows, as plain data."""
