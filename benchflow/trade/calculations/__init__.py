"""Calculations of engine building: one module a subject, the table of all of them in :mod:`.table`."""
