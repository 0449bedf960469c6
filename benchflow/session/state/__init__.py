"""The events of a session log, the state of a session, and the fold that makes the state from the events."""
