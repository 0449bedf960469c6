"""Pure functions of a state: reasons that block an action, verdicts, calculated values, progress of a joint."""
