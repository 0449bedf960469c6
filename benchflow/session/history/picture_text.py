"""The text of the events of pictures."""

from collections.abc import Callable
from typing import Any

from benchflow.session.history.log_titles import LogTitles, readable
from benchflow.session.pictures.picture_file import PictureFacts
from benchflow.session.pictures.picture_kinds import KINDS
from benchflow.session.state import events as ev


def subject_of_picture(event: ev.PictureAttached, titles: LogTitles) -> str:
    """What a picture shows: ``head-studs, fastener 3``; ``bore, reading 2``; ``event 17``; the operation; the job."""
    target = event.target
    if target.event:
        return f"event {target.event}"
    if target.joint:
        fastener = f", fastener {target.fastener}" if target.fastener else ""
        return f"{titles.joint(target.joint)}{fastener}"
    if target.value:
        record = titles.record(event.operation or "", target.value)
        at = "at" if record is not None and record.by_place else "reading"
        return f"{readable(target.value)}{f', {at} {target.reading}' if target.reading else ''}"
    return f"“{titles.step(event.operation)}”" if event.operation else "the job"


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
    return (
        f"Picture of {subject_of_picture(event, titles)} attached{caption} ({event.name}, {picture_size(event.facts)}, "
        f"SHA-256 {event.sha256[:16]}…)"
    )


PICTURE_TEXTS: dict[type[ev.Event], Callable[[Any, LogTitles], str]] = {
    ev.PictureAttached: _attached,
    ev.PictureWithdrawn: lambda event, titles: f"Picture of event {event.event} withdrawn; reason: {event.reason}",
}
"""The function that makes the text, for every type of event of a picture."""
