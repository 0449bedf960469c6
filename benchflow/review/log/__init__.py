"""Loads one log for review: its lines, facts, values and earlier states."""
