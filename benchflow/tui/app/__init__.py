"""The application: keys in order, themes, signals, the client of the session controller."""
