"""The findings that can decide if an operation is done: verdicts of values, answers to checks, chosen parts."""

from collections.abc import Iterable, Iterator
from itertools import combinations, pairwise

from benchflow.procedure.identity import ValueRef, joined, parts
from benchflow.procedure.model import (
    AboveReading,
    AskedLimit,
    Bound,
    CalculatedValue,
    ChoiceRow,
    EqualWithin,
    Fixed,
    Operation,
    PartChoice,
    Procedure,
    RecordedValue,
    bounds_of,
    parts_of,
    values_of,
)
from benchflow.quantity import base

VERDICTS = ("ok", "below", "above")
ANSWERS = ("yes", "no")


def names_of_findings(operation: Operation) -> tuple[str, ...]:
    """The names in an operation that a `when` can name."""
    return tuple(answers_in(operation))


def answers_in(operation: Operation) -> dict[str, tuple[str, ...]]:
    """The possible answers of each finding of an operation, by name. A matching of parts has none."""
    found: dict[str, tuple[str, ...]] = {value.name: VERDICTS for value in values_of(operation)}
    found |= {point.id: ANSWERS for point in operation.check if point.id}
    found |= {part.name: part.takes if isinstance(part, PartChoice) else () for part in parts_of(operation)}
    return found


def answers_of_findings(operations: Iterable[Operation]) -> dict[str, tuple[str, ...]]:
    """The possible answers of each finding of the operations, by name."""
    return {name: answers for operation in operations for name, answers in answers_in(operation).items()}


def possible_answers(operation: Operation, name: str) -> tuple[str, ...]:
    """The answers that a finding of an operation can have, in the order of :data:`VERDICTS`.

    A value that has a limit without an end on one side is never beyond that side.
    """
    value = next((value for value in values_of(operation) if value.name == name), None)
    if value is None:
        return answers_in(operation).get(name, ())
    sides = {side for bound in bounds_of(value) for side in _sides(bound)}
    return tuple(answer for answer in VERDICTS if answer == "ok" or answer in sides)


def split_key(procedure: Procedure, key: str) -> ValueRef:
    """The name of a finding with the place of its operation and its reading, from the key ``gap[4, left]``."""
    ref = ValueRef.parse(key)
    owners = procedure.operations_of_finding(ref.name)
    count = len(parts(owners[0].each)) if owners else 0
    return ValueRef(ref.name, joined(ref.indexes[:count]), joined(ref.indexes[count:]))


def findings_possible(operation: Operation, ref: ValueRef) -> Iterator[tuple[str, ...]]:
    """Everything that can be found for one finding of an operation of a plan.

    Several readings that are judged one by one can have several verdicts. Nothing is found if a choice is waived, or a
    value that is not proven.
    """
    name = str(ValueRef(ref.name, ref.place))
    choice = next((part for part in operation.choose if part.name == name), None)
    value = next((value for value in values_of(operation) if value.name == name), None)
    answers = possible_answers(operation, name)
    if value is None:
        yield from ((answer,) for answer in (answers or possible_answers(operation, ref.name)))
        if choice is not None and _has_hole(choice):
            yield ()
        return
    most = len(answers) if ref.reading is None and _is_judged_singly(value) else 1
    for size in range(1, most + 1):
        yield from combinations(answers, size)
    if value.decision == "guarded":
        yield ()


def _is_judged_singly(value: RecordedValue | CalculatedValue) -> bool:
    """True if several figures of a value can have a verdict each."""
    if isinstance(value, CalculatedValue):
        return True  # it may be calculated reading by reading
    several = len(value.slots) > 1 or value.by_place
    return several and value.judge == "all" and not isinstance(value.bound, EqualWithin)


def _has_hole(choice: PartChoice) -> bool:
    """True if the table of a choice has values without a part."""
    first, last = choice.rows[0], choice.rows[-1]
    ends = first.low is not None or last.high is not None or any(row.stop for row in choice.rows)
    return ends or any(_is_gap(row, following) for row, following in pairwise(choice.rows))


def _is_gap(row: ChoiceRow, following: ChoiceRow) -> bool:
    if row.high is None or following.low is None:
        return False
    return base(row.high) < base(following.low) or (row.high_open and following.low_open)


def _sides(bound: Bound) -> Iterator[str]:
    """The sides on which a value can be out of a limit."""
    match bound:
        case AskedLimit():
            yield from ("below", "above")
        case Fixed(limit=limit) | AboveReading(by=limit) | EqualWithin(limit=limit):
            if limit.low is not None and not isinstance(bound, EqualWithin):
                yield "below"
            if limit.high is not None:
                yield "above"
