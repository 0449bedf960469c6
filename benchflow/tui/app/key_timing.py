"""The timing of keys: line ends of gauges, bounces of Enter, and bursts of scanners."""

from math import inf

from textual import events

BOUNCE = 0.7
"""Shortest time in seconds between two keys that each make an entry. A bouncing or held foot switch is quicker; turning
a wrench takes longer (common practice, no source)."""

BURST_GAP = 0.06
"""Longest time in seconds between two keys of a scanner or a gauge. People are slower (common practice, no source)."""

ENTRY_KEYS = frozenset({"enter", "space", "f7", *"hvtpbHVTPB"})
"""The keys of the bench that make entries. Space does the same as Enter, because some foot switches send it."""


class EntryTiming:
    """The time in seconds between the last two keys that make entries (``pause``), each accepted or not.

    ``key`` is the last of them.
    """

    def __init__(self) -> None:
        self.pause = inf
        self.key = ""
        self._last = -inf

    def pressed(self, event: events.Key) -> None:
        """Store the time of a key that makes an entry."""
        if event.key in ENTRY_KEYS:
            self.key, self.pause = event.key, event.time - self._last
            self._last = event.time

    def clicked(self) -> None:
        """Count a click or a touch as no bounce."""
        self.pause = inf

    @property
    def bounced(self) -> bool:
        """True if the last key that makes an entry came too soon after the one before."""
        return self.pause < BOUNCE


class LineEnds:
    """Turns the line ends of gauges into Enter keys: CR, LF, or CR LF as one."""

    def __init__(self) -> None:
        self._return_at = -inf

    def as_typed(self, event: events.Key) -> events.Key | None:
        """Return the key to handle, ``None`` for the LF of a CR LF."""
        if event.key == "enter":
            self._return_at = event.time
        if event.key != "ctrl+j":
            return event
        if event.time - self._return_at < BURST_GAP:
            self._return_at = -inf
            return None
        enter = events.Key("enter", "\r")
        enter.time = event.time
        return enter


def belongs_to_burst(last: events.Key, following: events.Key) -> bool:
    """True if a key follows so quickly that a scanner or a gauge typed both."""
    typed = following.key == "enter" or (following.is_printable and following.character is not None)
    return typed and last.key != "enter" and following.time - last.time < BURST_GAP
