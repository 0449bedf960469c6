"""Calculations, decision rules, instruments, matching of parts, and pictures of gauges and joints."""
