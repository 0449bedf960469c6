"""Drawing functions: from plain data to styled lines of text."""
