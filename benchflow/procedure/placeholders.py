"""``{cylinder}`` in the texts of a repeated operation."""

import re

PLACEHOLDER = re.compile(r"\{\{|\}\}|\{([^{}]*)\}")
"""``{word}``; doubled braces stand for themselves."""
