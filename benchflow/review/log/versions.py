"""Compares versions of the program."""

from benchflow import __version__


def is_newer(version: str, than: str = __version__) -> bool:
    """True if ``version`` is later than ``than``."""
    return _numbers(version) > _numbers(than)


def _numbers(version: str) -> list[int]:
    return [int(part) for part in version.split(".") if part.isdigit()]
