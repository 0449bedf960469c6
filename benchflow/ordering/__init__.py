"""What may be done next, and the proof of it."""
