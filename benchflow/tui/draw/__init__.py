"""Drawing functions: they turn a view into styled lines, without Textual widgets."""
