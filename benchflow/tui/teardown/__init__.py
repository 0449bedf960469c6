"""The screens of a teardown."""
