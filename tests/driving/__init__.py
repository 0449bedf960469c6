"""Drives a session in the tests: by intents to its controller, by JSON lines, or by a whole simulated build."""
