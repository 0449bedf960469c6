"""Test helpers that drive a session: by intents to its controller, by JSON lines, or as a whole simulated build."""
