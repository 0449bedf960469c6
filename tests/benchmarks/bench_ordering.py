"""What the proof and the way cost, side by side with a general-purpose model checker."""
