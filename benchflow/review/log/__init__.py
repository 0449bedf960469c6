"""One log loaded for review: its lines, facts, values and earlier states."""
