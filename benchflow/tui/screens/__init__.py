"""The other screens of the bench, one module each."""
