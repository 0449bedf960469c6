"""The author's text as a tree of nodes with line and column."""
