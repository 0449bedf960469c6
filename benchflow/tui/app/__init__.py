"""The Textual app: keys in order, signals, themes applied, screens opened by request."""
