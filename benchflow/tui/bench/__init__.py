"""The bench screen: fields, cursor, entering, key bindings."""
