"""The findings that can decide if an operation is done: verdicts of values, answers to checks, chosen parts."""

from collections.abc import Iterable, Iterator

from benchflow.procedure.model import (
    AboveReading,
    Bound,
    CalculatedValue,
    EqualWithin,
    Fixed,
    Operation,
    PartChoice,
    RecordedValue,
    parts_of,
    values_of,
)

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
    sides = {side for bound in _bounds(value) for side in _sides(bound)}
    return tuple(answer for answer in VERDICTS if answer == "ok" or answer in sides)


def _bounds(value: RecordedValue | CalculatedValue) -> tuple[Bound | None, ...]:
    return value.bound, value.used if isinstance(value, RecordedValue) else None


def _sides(bound: Bound | None) -> Iterator[str]:
    """The sides on which a value can be out of a limit."""
    match bound:
        case Fixed(limit=limit) | AboveReading(by=limit) | EqualWithin(limit=limit):
            if limit.low is not None and not isinstance(bound, EqualWithin):
                yield "below"
            if limit.high is not None:
                yield "above"
        case None:
            return
