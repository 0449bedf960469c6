"""The version of the tables of the archive, for readers that do not load the library for databases."""

from typing import Final

VERSION: Final = 15
"""It grows with every change of a fact type or table; other versions are refused."""
