"""Descriptions of parts as text for people: rows that show how an entry is understood, and single phrases."""

from msgspec import Struct

from benchflow.session.teardown.teardown_record import (
    FastenerGroup,
    FoundKind,
    PartDescription,
    PartFate,
    PartFinding,
    TeardownReading,
)

FATE_WORDS: dict[PartFate, str] = {
    "": "", "use-again": "use again", "machine": "machine", "replace": "replace", "ask-customer": "ask the customer",
}  # fmt: skip
FOUND_WORDS: dict[FoundKind, str] = {
    "debris": "debris", "gasket-imprint": "gasket imprint", "thread-insert": "thread insert",
    "odd-bolt": "odd bolt", "missing-dowel": "missing dowel", "broken": "broken", "worn": "worn", "leak": "leak",
    "other": "",
}  # fmt: skip


class UnderstoodRow(Struct, frozen=True):
    """One thing that was understood. ``kept`` is true for words that were kept as they are."""

    label: str
    text: str
    kept: bool = False


def understood_rows(description: PartDescription) -> tuple[UnderstoodRow, ...]:
    """A description as rows to show, each field that is given once."""
    each = description
    count = "" if each.count == 1 else f"{each.count} × "
    rows = (
        ("Thing", f"{count}{each.what}" if each.what else ""),
        ("Places", ", ".join(each.places)),
        ("Fasteners", "; ".join(fasteners_text(group) for group in each.fasteners)),
        ("Kept in", each.container),
        ("Marks", each.marks),
        ("Faces", each.orientation),
        ("Condition", each.condition),
        ("Measured", "; ".join(reading_text_of(value) for value in each.values)),
        ("State after", each.state),
        ("Fate", fate_text(each.fate, each.fate_reason)),
        ("Goes with", each.partner),
        ("Found", "; ".join(finding_text(found) for found in each.found)),
    )
    understood = tuple(UnderstoodRow(label, text) for label, text in rows if text)
    return (*understood, *((UnderstoodRow("Words", each.remark, kept=True),) if each.remark else ()))


def fasteners_text(group: FastenerGroup) -> str:
    """``8 × M6x1, 30 mm, front``."""
    what = " ".join(part for part in (group.kind, group.thread) if part) or "thread not said"
    length = "" if group.length is None else f"{group.length.value} {group.length.unit}"
    details = ", ".join(part for part in (what, length, group.where) if part)
    return f"{group.count} × {details}"


def short_fasteners(groups: tuple[FastenerGroup, ...]) -> str:
    """``9×M8x1.25 45 mm + 2×70 mm``, for a list. A thread that is that of the group before is left out."""
    out = []
    before = ""
    for group in groups:
        what = " ".join(part for part in (group.kind, group.thread) if part)
        length = "" if group.length is None else f"{group.length.value} {group.length.unit}"
        shown = "" if what == before and length else what
        out.append(f"{group.count}×" + " ".join(part for part in (shown, length) if part))
        before = what
    return " + ".join(out)


def reading_text_of(reading: TeardownReading) -> str:
    """``end float 0.12 mm``, with its place."""
    value = reading.answer if reading.value is None else f"{reading.value.value} {reading.value.unit}".strip()
    place = f" ({reading.place})" if reading.place else ""
    return f"{reading.name}{place} {value}"


def fate_text(fate: PartFate, reason: str) -> str:
    """``replace: pitted``."""
    return f"{FATE_WORDS[fate]}: {reason}" if reason else FATE_WORDS[fate]


def finding_text(found: PartFinding) -> str:
    """What was found, in words. The kind comes first if the words do not say it."""
    kind = FOUND_WORDS[found.kind]
    if not kind or kind in found.text.lower():
        return found.text or kind
    return f"{kind}: {found.text}" if found.text else kind
