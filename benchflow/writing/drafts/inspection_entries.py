"""What is recorded of a part during assembly, from what the teardown measured."""

import re
from typing import Any

from msgspec.structs import replace

from benchflow.quantity import dimension_of
from benchflow.session.state.event_basics import StoredQuantity
from benchflow.session.teardown.teardown_record import TeardownReading
from benchflow.writing.drafts.draft_book import ASK, DraftBook, plain_text, sentence_case, unique
from benchflow.writing.drafts.draft_yaml import Noted
from benchflow.writing.drafts.line_facts import LineFacts
from benchflow.writing.drafts.part_words import is_chosen_size, is_fitted_measure, is_shim, is_single_dimension


def recorded_values(book: DraftBook, values: list[TeardownReading], facts: LineFacts | None = None) -> dict[str, Any]:
    """The values to record, with what was measured during the teardown as a comment.

    ``facts``: the line that they were measured on; ``None`` for the assembly. What is chosen by a measured float, such
    as the thickness of a shim, is recorded without a limit.
    """
    subject = "" if facts is None else facts.what
    places = () if facts is None else facts.line.description.places
    own_set = "" if facts is None else facts.each
    by_name: dict[str, list[TeardownReading]] = {}
    for each in values:
        own = _placed(each, places)
        by_name.setdefault(own.name, []).append(own)
    found: dict[str, Any] = {}
    for name, readings in by_name.items():
        first = readings[0].value
        assert first is not None  # only readings with a quantity are recorded
        measured_at = unique(each.place for each in readings)
        several = len(readings) > 1 or any(place in places for place in measured_at)
        at = f" ({measured_at[0]})" if len(measured_at) == 1 and not several else ""
        new = "new " if facts is not None and facts.all_new else ""
        record: dict[str, Any] = {
            "ask": f"{plain_text(_question(name, subject, new) + at)}",
            "unit": first.unit or "count",
        }
        of_shim = is_chosen_size(name) or (is_shim(subject) and not is_fitted_measure(name, subject))
        chosen = of_shim and dimension_of(first.unit) == "length"
        if not chosen:
            record["limit"] = ASK
        if several and not measured_at:
            record["readings"] = len(readings)
        elif several:
            named = [each.place or "place not said" for each in readings]
            record["readings"] = own_set or list(places) if places and set(named) <= set(places) else unique(named)
        elif len(places) > 1 and is_single_dimension(name):
            record["readings"] = own_set or list(places)
        _name_instrument(book, record, readings, first)
        shown = ", ".join(f"{f'{each.place} ' if each.place else ''}{_shown(each.value)}" for each in readings)
        above = f"measured during the teardown: {shown}" + (", on the old part" if new else "")
        if chosen:
            above += ". It is chosen by the float or preload that the manual prints: no limit of its own"
        ident = book.name(f"{subject} {name}{at}" if subject.lower() not in name.lower() else f"{name}{at}", "value",
                          default="value")  # fmt: skip
        found[ident] = Noted(record, (above,))
    return found


def _question(name: str, subject: str, new: str) -> str:
    """What is measured, as a question: ``Free length of the relief valve spring``."""
    words = plain_text(name)
    if not subject or subject.lower() in name.lower():
        return sentence_case(f"{new}{words}")
    if re.search(r"\b(?:at|in|on|of|to|with|opens|closes|from)$", words, re.I):
        return sentence_case(f"{new}{subject}: {words}")
    return f"{sentence_case(words)} of the {new}{subject}"


def _placed(reading: TeardownReading, places: tuple[str, ...]) -> TeardownReading:
    """A reading whose name begins with a place of its line, at that place: `1 gap` of the rings 1 to 4."""
    first, _, rest = reading.name.partition(" ")
    return replace(reading, name=rest, place=first) if rest and not reading.place and first in places else reading


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
