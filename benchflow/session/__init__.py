"""The session of one build: its events, the log on disk, the state that follows from the events, the controller."""
