"""Calculations of engine building, one module per subject. :mod:`.table` lists all of them."""
