"""Figures, times and counts as text for people."""

from datetime import tzinfo
from decimal import Decimal

from benchflow.quantity import Quantity, show_short
from benchflow.review.log.facts import ReadingFact
from benchflow.review.log.margin import Band
from benchflow.session.log.timestamps import local_time_of


def shown(value: Decimal | str, unit: str, entered: str = "") -> str:
    """``0.105 mm``; a plain number if ``unit`` is "". It is rounded as :func:`benchflow.quantity.show_short` does.

    ``entered`` is the text that was typed, which decides the number of digits.
    """
    return show_short(Quantity(Decimal(value), unit, entered))


def shown_reading(reading: ReadingFact) -> str:
    """A reading to the digits that were typed: ``52.0116 mm`` for 2.0477 in."""
    return shown(reading.value, reading.unit, reading.entered)


def local_time(at: str, zone: tzinfo | None = None) -> str:
    """A timestamp of the log in local time: ``2026-03-02 18:40``. ``zone`` replaces the time zone of the machine."""
    return f"{local_time_of(at, zone):%Y-%m-%d %H:%M}"


def local_time_with_zone(at: str, zone: tzinfo | None = None, *, seconds: bool = False) -> str:
    """As :func:`local_time`, with the zone: ``2026-03-02 18:40 CET``. With ``seconds``: ``2026-03-02 18:40:05 CET``."""
    clock = "%H:%M:%S" if seconds else "%H:%M"
    return f"{local_time_of(at, zone):%Y-%m-%d {clock} %Z}"


def local_day(at: str, zone: tzinfo | None = None) -> str:
    """The local day of a timestamp of the log: ``2026-03-02``."""
    return f"{local_time_of(at, zone):%Y-%m-%d}"


def count(number: int, noun: str, plural: str = "") -> str:
    """``1 fastener``, ``14 fasteners``. ``plural`` is an irregular plural."""
    return f"{number} {noun if number == 1 else plural or noun + 's'}"


def margin_text(share: float, within: Band, limit: str) -> str:
    """The margin of a value as text: ``3 % of the band 0.10 .. 0.28 mm left``."""
    if within.two_ended:
        left = f"{max(share, 0):.0%}".replace("%", " %")
        return f"{left} of the band {limit} left".replace("  ", " ")
    return f"{share:.1%}".replace("%", " %") + f" from its limit, {limit}"
