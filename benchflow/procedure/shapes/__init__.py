"""Shapes: each reads one kind of YAML node to a value and describes itself as JSON Schema."""
