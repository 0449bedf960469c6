"""Pure questions about a state: what is blocked and why, verdicts, computed values, progress of a joint."""
