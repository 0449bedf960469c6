"""What is checked and recorded of a part during assembly: findings, fates, and what the teardown measured."""

import re
from typing import Any

from msgspec.structs import replace

from benchflow.quantity import dimension_of
from benchflow.session.state.event_basics import StoredQuantity
from benchflow.session.teardown.part_text import fate_text, finding_text
from benchflow.session.teardown.renewed_parts import is_seal
from benchflow.session.teardown.teardown_record import TeardownReading
from benchflow.writing.drafts.draft_book import ASK, DraftBook, plain_text, sentence_case, unique
from benchflow.writing.drafts.draft_yaml import Noted
from benchflow.writing.drafts.line_facts import LineFacts
from benchflow.writing.drafts.part_words import (
    is_chosen_size,
    is_debris,
    is_fitted_measure,
    is_sealed,
    is_shim,
    is_single_dimension,
)


def found_checks(facts: LineFacts) -> list[str]:
    """A check for each thing that was found at the parts of a line, with what has to be done about it."""
    found: list[str] = []
    everywhere = [one for one in facts.line.parts[0].found if all(one in part.found for part in facts.line.parts)]
    for part in facts.line.parts:
        for one in part.found:
            place = f" ({part.place})" if part.place and one not in everywhere else ""
            words = plain_text(finding_text(one))
            if is_sealed(words) and not facts.renewed:
                continue  # the operation that puts the bead on has them
            is_new = facts.renewed or part.place in facts.replaced
            action = {
                "debris": "It is cleaned, and its cause is known",
                "gasket-imprint": "Both faces are clean, and checked for flatness there",
                "thread-insert": "The thread is sound at full depth",
                "odd-bolt": "The right fastener is ready",
                "missing-dowel": "The dowel is ready",
                "broken": "It is replaced or repaired",
                "worn": "It is within its limit, or replaced",
                "leak": "The cause of the leak is put right",
                "other": "It is put right",
            }[one.kind]
            if one.kind == "other" and is_debris(words):
                action = "It is cleaned, and its cause is known"
            if is_new and one.kind in ("broken", "worn", "leak", "other"):
                action = "Its cause is known, and put right"
            found.append(f"Found{place}: {words}. {action}")
    return unique(found)


def fate_checks(book: DraftBook, facts: LineFacts) -> list[str]:
    """A check for each fate of the parts of a line. What the customer decides is a follow-up as well."""
    checks = []
    line = facts.line
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
        elif fate == "replace" and facts.replaced and not is_seal(facts.what):
            many = facts.plural and len(facts.replaced) != 1
            checks.append(
                f"The new {'parts are' if many else 'part is'} ready{where}, and compared with the old "
                f"{'ones' if many else 'one'}{new_part_check(facts)}"
            )
    return checks


def new_part_check(facts: LineFacts) -> str:
    """What was wrong with the old part, in brackets behind its name; "" if nobody wrote it."""
    reasons = unique(part.fate_reason for part in facts.line.parts if part.fate == "replace")
    many = facts.plural and len(facts.replaced) != 1
    return f" (the old {'ones' if many else 'one'}: {plain_text('; '.join(reasons))})" if reasons else ""


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
