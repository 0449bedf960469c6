"""Makes the description of a part from the fields of an intent `off` or `edit`, or refuses it."""

from typing import Any

from msgspec.structs import fields, replace

from benchflow.quantity.notation import parse_quantity
from benchflow.quantity.types import QuantityError
from benchflow.session.context import quantity_problem
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.verdicts import to_stored
from benchflow.session.state.event_basics import StoredQuantity
from benchflow.session.teardown import teardown_intents as intents
from benchflow.session.teardown.entry_line import understand_entry
from benchflow.session.teardown.fastener_text import MAX_COUNT, read_length, thread_reason
from benchflow.session.teardown.part_text import FATE_WORDS, FOUND_WORDS
from benchflow.session.teardown.place_text import MAX_PLACES
from benchflow.session.teardown.teardown_record import FastenerGroup, PartDescription, PartFinding, TeardownReading

_WORDS = ("what", "marks", "orientation", "container", "condition", "state", "fate_reason", "partner", "remark")
_FIELDS = (*_WORDS, "count", "fasteners", "places", "values", "fate", "found")


def given_description(given: intents.PartFields, old: PartDescription | None) -> PartDescription | Refusal:
    """The description that an intent gives. ``old`` is that of the line to correct; ``None`` for a new line.

    The description is that of ``text``, or ``old`` with each field that is given in its place.
    """
    problems: list[Reason] = []
    start = PartDescription("") if old is None else old
    if given.text:
        beside = [each.encode_name for each in fields(intents.PartFields)
                  if each.name in _FIELDS and getattr(given, each.name) is not None]  # fmt: skip
        if beside:
            message = f"Give text or fields, not both. Beside text: {', '.join(beside)}"
            problems.append(Reason("bad-intent", message, name=beside[0]))
        understood = understand_entry(given.text)
        problems += understood.problems
        start = understood.description
    changes: dict[str, Any] = {name: getattr(given, name) for name in _WORDS if getattr(given, name) is not None}
    changes |= _counted(given, start, problems)
    if given.fasteners is not None:
        changes["fasteners"] = tuple(_fasteners(each, problems) for each in given.fasteners)
    if given.values is not None:
        changes["values"] = tuple(_reading(each, problems) for each in given.values)
    if given.fate is not None:
        changes["fate"] = _known(given.fate, FATE_WORDS, "fate", problems) if given.fate else ""
    if given.found is not None:
        changes["found"] = tuple(
            PartFinding(_known(each.kind, FOUND_WORDS, "found", problems), each.text) for each in given.found
        )
    if not given.text and changes and start.entered:
        changes["entered"] = ""  # the text no longer says what the line says
    description = replace(start, **changes)
    if not description.what and not problems:
        problems.append(Reason("value-missing", "Write what comes off, such as: rocker cover", name="what"))
    return Refusal(tuple(problems)) if problems else description


def _counted(given: intents.PartFields, start: PartDescription, problems: list[Reason]) -> dict[str, Any]:
    """The changes of count and places."""
    changes: dict[str, Any] = {}
    if given.places is not None:
        if len(set(given.places)) != len(given.places) or not all(given.places) or len(given.places) > MAX_PLACES:
            message = f"Name each place once, and at most {MAX_PLACES} of them"
            problems.append(Reason("bad-quantity", message, name="places"))
        changes |= {"places": given.places, "count": len(given.places) or 1}
    if given.count is not None:
        places = start.places if given.places is None else given.places
        if not 1 <= given.count <= MAX_COUNT:
            problems.append(Reason("bad-quantity", f"The count is 1 to {MAX_COUNT}", name="count"))
        elif places and len(places) != given.count:
            message = f"{given.count} parts, but {len(places)} places. Give the same number"
            problems.append(Reason("bad-quantity", message, name="count"))
        changes["count"] = given.count
    return changes


def _fasteners(given: intents.GivenFasteners, problems: list[Reason]) -> FastenerGroup:
    if not 1 <= given.count <= MAX_COUNT:
        problems.append(Reason("bad-quantity", f"The count of fasteners is 1 to {MAX_COUNT}", name="fasteners"))
    wrong = thread_reason(given.thread) if given.thread else None
    if wrong is not None:
        problems.append(wrong)
    length = read_length(given.length, "length") if given.length else None
    if isinstance(length, Reason):
        problems.append(length)
        length = None
    return FastenerGroup(given.count, given.kind, given.thread, length, given.where)


def _reading(given: intents.GivenReading, problems: list[Reason]) -> TeardownReading:
    value: StoredQuantity | None = None
    if bool(given.value) == bool(given.answer) or not given.name:
        message = "A reading has a name, and a value or an answer"
        problems.append(Reason("value-missing", message, name=given.name or "values"))
    elif given.value:
        try:
            value = to_stored(parse_quantity(given.value))
        except QuantityError as error:
            problems.append(quantity_problem(error, given.name))
    return TeardownReading(given.name, value, given.answer, given.place, given.instrument)


def _known(name: str, known: dict[Any, str], field: str, problems: list[Reason]) -> Any:
    """``name`` if it is known; otherwise a problem, and the first known one."""
    names = [each for each in known if each]
    if name in names:
        return name
    problems.append(Reason("unknown-name", f"Unknown: “{name}”. Possible: {', '.join(names)}", name=field))
    return names[0]
