"""Exports sessions for other programs: CSV, JSON Lines, XES (IEEE 1849), iCalendar (RFC 5545)."""
