"""Old place of :mod:`benchflow.base.plaintext`."""

from benchflow.base.plaintext import clean, clean_line
from benchflow.base.plaintext import unsafe_characters as unseen

__all__ = ["clean", "clean_line", "unseen"]
