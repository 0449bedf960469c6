"""The text of the events of pictures."""

from collections.abc import Callable
from typing import Any, Final

from benchflow.session.history.log_titles import LogTitles, readable
from benchflow.session.pictures.picture_file import PictureFacts
from benchflow.session.pictures.picture_kinds import KINDS
from benchflow.session.state import events as ev
from benchflow.session.state.picture_events import PictureTarget

MOST_OF_A_NOTE: Final = 60
"""The most characters of a note that name a picture in a sentence."""


def picture_subject(operation: str | None, target: PictureTarget, titles: LogTitles, note: str = "") -> str:
    """What a picture shows, for use in a sentence: ``Head studs, fastener 3``; ``Bore, top``; ``Gap, at 2``.

    A picture of an event is named by its ``note``, or as ``event 17`` if that is not known. A picture without a target
    is of its operation, or of the job.
    """
    if target.event:
        return f"the note “{_shortened(note)}”" if note else f"event {target.event}"
    if target.joint:
        return f"{titles.joint(target.joint)}{f', fastener {target.fastener}' if target.fastener else ''}"
    if target.value:
        record = titles.record(operation or "", target.value)
        name = "" if record is None else record.ask
        numbered = "at " if record is not None and record.by_place else "reading "
        at = numbered if target.reading.isdecimal() else ""
        return f"{name or readable(target.value)}{f', {at}{target.reading}' if target.reading else ''}"
    return f"“{titles.step(operation)}”" if operation else "the job"


def picture_heading(operation: str | None, target: PictureTarget, titles: LogTitles, note: str = "") -> str:
    """What a picture shows, as a heading: like :func:`picture_subject`, without quotes and with the whole note."""
    if target.event and note:
        return f"Note: {note}"
    subject = picture_subject(operation, target, titles)
    subject = subject.strip("“”") if target == PictureTarget() else subject
    return f"{subject[:1].upper()}{subject[1:]}"


def _shortened(note: str) -> str:
    return note if len(note) <= MOST_OF_A_NOTE else f"{note[: MOST_OF_A_NOTE - 1]}…"


def picture_size(facts: PictureFacts) -> str:
    """Type and size of a picture: ``JPEG, 4032 × 3024 pixels, 3.1 MB``."""
    kind = KINDS.get(facts.type)
    pixels = f", {facts.width} × {facts.height} pixels" if facts.width and facts.height else ""
    return f"{facts.type if kind is None else kind.title}{pixels}, {file_size(facts.size)}"


def file_size(size: int) -> str:
    """A number of bytes for people: ``812 bytes``, ``48 kB``, ``3.1 MB``."""
    if size < 1000:
        return f"{size} bytes"
    if size < 1_000_000:
        return f"{size / 1000:.0f} kB"
    return f"{size / 1_000_000:.1f} MB"


def _attached(event: ev.PictureAttached, titles: LogTitles) -> str:
    caption = f": {event.text}" if event.text else ""
    subject = picture_subject(event.operation, event.target, titles)
    return (
        f"Picture of {subject} attached{caption} ({event.name}, {picture_size(event.facts)}, "
        f"SHA-256 {event.sha256[:16]}…)"
    )


PICTURE_TEXTS: dict[type[ev.Event], Callable[[Any, LogTitles], str]] = {
    ev.PictureAttached: _attached,
    ev.PictureWithdrawn: lambda event, titles: f"Picture of event {event.event} withdrawn; reason: {event.reason}",
}
"""The function that makes the text, for every type of event of a picture."""
