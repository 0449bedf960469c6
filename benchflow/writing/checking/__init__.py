"""The check of a procedure while its author writes it."""
