"""Screens and widgets: they show state and send intents."""
