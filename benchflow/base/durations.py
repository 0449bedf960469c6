"""Durations as text for people. All arguments are seconds."""


def clock_duration(seconds: float) -> str:
    """A running time, to the second below one hour: ``6:12 min``, ``2 h 05 min``, ``3 d 4 h``. The sign is left out."""
    text = _text(max(0, round(abs(seconds))))
    return f"{text} min" if ":" in text else text


def countdown(seconds: float) -> str:
    """The remaining time, rounded down: ``0:45``, ``3 h 07 min``, ``2 d 4 h``; ``0:00`` below zero."""
    return _text(int(max(seconds, 0)))


def rounded_duration(seconds: float) -> str:
    """A past duration, in one or two units: ``40 s``, ``12 min``, ``3 h 05 min``, ``2 d 4 h``."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    if minutes < 90:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes:02d} min"
    return f"{hours // 24} d {hours % 24} h"


def _text(whole_seconds: int) -> str:
    days, rest = divmod(whole_seconds, 86400)
    hours, rest = divmod(rest, 3600)
    minutes, rest = divmod(rest, 60)
    if days:
        return f"{days} d {hours} h"
    if hours:
        return f"{hours} h {minutes:02d} min"
    return f"{minutes}:{rest:02d}"
