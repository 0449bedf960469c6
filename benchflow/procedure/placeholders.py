"""Placeholders such as ``{cylinder}`` in the texts of a repeated operation."""

import re

PLACEHOLDER = re.compile(r"\{\{|\}\}|\{([^{}]*)\}")
"""``{word}``, with the word as group 1. Doubled braces match without a group; they stand for single ones."""
