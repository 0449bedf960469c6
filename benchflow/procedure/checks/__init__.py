"""Checks of a whole procedure: names, values and formulas, instruments, tightening stages, unused names."""
