"""The bench view: what the screen shows, as plain data made from the state."""
