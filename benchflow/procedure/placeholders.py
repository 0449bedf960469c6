"""Placeholders such as ``{cylinder}`` in the texts of a repeated operation."""

import re

PLACEHOLDER = re.compile(r"\{\{|\}\}|\{([^{}]*)\}")
"""``{word}``, with the word as group 1. Doubled braces, which mean single ones, match without a group."""
