"""Drawing: from a view to styled lines, without Textual widgets."""
