"""Which of two versions of the program is the later one."""

from benchflow import __version__


def is_newer(version: str, than: str = __version__) -> bool:
    """Whether a log was written by a later version of the program than this one."""
    return _numbers(version) > _numbers(than)


def _numbers(version: str) -> list[int]:
    return [int(part) for part in version.split(".") if part.isdigit()]
