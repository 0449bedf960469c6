"""The Textual app: ordered keys, signals, themes, and requests for screens."""
