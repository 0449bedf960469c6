"""Compares versions of the program."""

from benchflow import __version__


def is_newer(version: str, than: str = __version__) -> bool:
    """True if ``version`` is later than ``than``."""
    return _number_parts(version) > _number_parts(than)


def _number_parts(version: str) -> list[int]:
    return [int(part) for part in version.split(".") if part.isdigit()]
