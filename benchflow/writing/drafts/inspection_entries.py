"""What is checked and recorded of a part on its way back: findings, fates, and what was measured on the way down."""

from typing import Any

from benchflow.quantity import dimension_of
from benchflow.session.state.event_basics import StoredQuantity
from benchflow.session.teardown.part_text import fate_text, finding_text
from benchflow.session.teardown.teardown_record import TeardownLine, TeardownReading
from benchflow.writing.drafts.draft_book import ASK, DraftBook, plain_text, unique
from benchflow.writing.drafts.draft_yaml import Noted


def found_checks(line: TeardownLine) -> list[str]:
    """A check for each thing that was found at the parts of a line, with what has to be done about it."""
    found: list[str] = []
    for part in line.parts:
        place = f" ({part.place})" if part.place else ""
        for one in part.found:
            words = plain_text(finding_text(one))
            action = {
                "debris": "It is cleaned, and its cause is known",
                "gasket-imprint": "The faces are clean and flat",
                "thread-insert": "The thread is sound at full depth",
                "odd-bolt": "The right fastener is at hand",
                "missing-dowel": "The dowel is at hand",
                "broken": "It is replaced or repaired",
                "worn": "It is within its limit, or replaced",
                "leak": "The cause of the leak is put right",
                "other": "It is put right",
            }[one.kind]
            found.append(f"Found{place}: {words}. {action}")
    return found


def fate_checks(book: DraftBook, line: TeardownLine) -> list[str]:
    """A check for each fate of the parts of a line. What the customer decides is a follow-up as well."""
    checks = []
    for fate in unique(part.fate for part in line.parts):
        places = [part.place for part in line.parts if part.fate == fate and part.place]
        where = f" ({', '.join(places)})" if places and len(places) < len(line.parts) else ""
        reason = next((part.fate_reason for part in line.parts if part.fate == fate and part.fate_reason), "")
        words = plain_text(fate_text(fate, reason))  # type: ignore[arg-type]  # the fates of the parts
        if fate == "machine":
            checks.append(f"Back from the machine shop{where}: {words}. Measured and clean")
        elif fate == "ask-customer":
            title = f"Ask the customer about the {plain_text(line.description.what)}{where}"
            book.follow_up.append({"title": f"{title}: {plain_text(reason)}" if reason else title})
            checks.append(f"The customer has decided about it{where}")
        elif fate == "replace":
            checks.append(f"The new part is at hand{where}: compared with the old one ({words})")
    return checks


def recorded_values(book: DraftBook, values: list[TeardownReading], subject: str) -> dict[str, Any]:
    """The values to record, with what was measured on the way down as a comment."""
    by_name: dict[str, list[TeardownReading]] = {}
    for each in values:
        by_name.setdefault(each.name, []).append(each)
    found: dict[str, Any] = {}
    for name, readings in by_name.items():
        text = name if subject.lower() in name.lower() else f"{subject} {name}"
        first = readings[0].value
        assert first is not None  # only readings with a quantity are recorded
        record: dict[str, Any] = {
            "ask": f"Measure: {plain_text(text)}",
            "unit": first.unit or "count",
            "limit": ASK,
        }
        places = unique(each.place for each in readings)
        if len(places) == 1 and places[0]:
            record["ask"] += f" ({plain_text(places[0])})"
        if len(places) > 1:
            record["readings"] = places
        _name_instrument(book, record, readings, first)
        measured = ", ".join(f"{f'{each.place} ' if each.place else ''}{_shown(each.value)}" for each in readings)
        found[book.name(text, "value", default="value")] = Noted(record, (f"measured on the way down: {measured}",))
    return found


def _name_instrument(
    book: DraftBook, record: dict[str, Any], readings: list[TeardownReading], value: StoredQuantity
) -> None:
    named = next((each.instrument for each in readings if each.instrument), "")
    kind = dimension_of(value.unit)
    if not named or not kind:
        return
    ident = next(
        (key for key, each in book.instruments.items() if each.get("title") == plain_text(named)), ""
    ) or book.name(named, "instrument", default="gauge")
    book.instruments[ident] = {"kind": kind, "title": plain_text(named)}
    record["with"] = ident


def at_place(reading: TeardownReading) -> str:
    """The place of a reading in brackets; "" if it has none."""
    return f" ({plain_text(reading.place)})" if reading.place else ""


def _shown(value: StoredQuantity | None) -> str:
    return "" if value is None else f"{value.value} {value.unit}".rstrip()
