"""Notes on remedies that are never needed, and on complaints for which a job keeps no evidence."""

from collections.abc import Iterable, Iterator
from fractions import Fraction

from benchflow.base.plaintext import listed
from benchflow.procedure.checks.attainable_limits import ValueRanges
from benchflow.procedure.formula.value_ranges import ANYTHING, ValueRange
from benchflow.procedure.model import (
    AboveReading,
    AskedLimit,
    Bound,
    CalculatedValue,
    CheckStage,
    EqualWithin,
    Fixed,
    HandStage,
    Mark,
    OpenStage,
    Operation,
    Procedure,
    RecordedValue,
    Stage,
    bounds_of,
    stage_remedies,
    values_of,
)
from benchflow.procedure.problems import Problem, Severity
from benchflow.procedure.variants import every_variant
from benchflow.quantity import Limit, interval

_CLOSED = {"below": "at most", "above": "at least"}
"""The words of a limit without the end on this side. The reader reports a remedy beside such a limit."""
_END = {"below": "lower", "above": "upper"}


_Key = tuple[str, Mark]
"""The path of a remedy in its operation, and its place in the file."""


def note_needless_remedies(builds: Iterable[Procedure], file: str) -> Iterator[Problem]:
    """A warning for each remedy on a side without a limit, a note for one whose case does not occur.

    The case does not occur if the result of a formula cannot leave its limit on that side while its inputs are within
    theirs. It is a note, because a deviation can accept an input that is out. A remedy that one of the ``builds`` can
    need is not named.
    """
    found: dict[_Key, Problem | None] = {}
    for build in builds:
        ranges = ValueRanges(build)
        for operation in build.operations:
            for value in values_of(operation):
                for one in value.by_limit if isinstance(value, RecordedValue) else (value,):
                    _keep_if_always(found, _of_value(one, operation, ranges, file))
            _keep_if_always(found, _of_stages(operation, file))
    yield from filter(None, found.values())


def _keep_if_always(found: dict[_Key, Problem | None], new: Iterable[tuple[_Key, Problem | None]]) -> None:
    """Add the findings about remedies. ``None`` is a remedy that can be needed, and replaces a finding about it."""
    for key, problem in new:
        found[key] = None if problem is None else found.get(key, problem)


def _of_value(
    value: RecordedValue | CalculatedValue, operation: Operation, ranges: ValueRanges, file: str
) -> Iterator[tuple[_Key, Problem | None]]:
    bounds = bounds_of(value)
    kind = "record" if isinstance(value, RecordedValue) else "work-out"
    asked = any(isinstance(bound, AskedLimit) for bound in bounds)
    for side, remedies in (("below", value.below), ("above", value.above)):
        if not remedies or not bounds:
            continue
        if not asked and all(bound.text.strip().startswith(_CLOSED[side]) for bound in bounds):
            continue
        where, mark = f"{operation.id}.{kind}.{value.name}.{side}", remedies[0].mark
        problem = None
        if asked:
            pass  # the figure that is given at the bench can need it
        elif not any(_has_end(bound, side) for bound in bounds):
            texts = listed([f"`{bound.text}`" for bound in bounds], "and")
            problem = _without_end(side, texts, mark, where, file)
        elif reason := _never_out(value, bounds, side, ranges):
            message = f"`{side}` has a remedy that is never needed: {reason}"
            hint = f"Delete the remedy, or correct the limit of `{value.name}`"
            problem = _problem("never-carried-out", "note", mark, message, hint, where, file)
        yield (where, mark), problem


def _has_end(bound: Bound, side: str) -> bool:
    if isinstance(bound, EqualWithin):
        return side == "above"
    assert not isinstance(bound, AskedLimit)
    return _limit_has_end(bound.by if isinstance(bound, AboveReading) else bound.limit, side)


def _limit_has_end(limit: Limit, side: str) -> bool:
    ends = interval(limit)
    return (ends.low if side == "below" else ends.high) is not None


def _never_out(
    value: RecordedValue | CalculatedValue, bounds: tuple[Bound, ...], side: str, ranges: ValueRanges
) -> str:
    """Why a value is never out of its limit on this side; "" if it can be, or if that is not certain."""
    if isinstance(value, RecordedValue):
        spread = value.judge == "spread" and side == "below"
        if spread and all(_is_within(ValueRange(Fraction(0)), bound, side) for bound in bounds):
            return "a difference between readings is never below zero"
        return ""
    if value.dimension == "temperature" or value.by_reading:
        return ""
    possible = ranges.of_formula(value)
    if possible == ANYTHING or possible.is_empty or not all(_is_within(possible, bound, side) for bound in bounds):
        return ""
    return f"`{value.name}` is not out on this side while the values of its formula are within their limits"


def _is_within(possible: ValueRange, bound: Bound, side: str) -> bool:
    """True if no value in the range is out of the limit on this side."""
    if not isinstance(bound, Fixed):
        return False
    ends = interval(bound.limit, difference=True)
    if side == "below":
        low, end, is_open = possible.low, ends.low, ends.low_open
        return end is None or (low is not None and (low > end or (low == end and not is_open)))
    high, end, is_open = possible.high, ends.high, ends.high_open
    return end is None or (high is not None and (high < end or (high == end and not is_open)))


def _of_stages(operation: Operation, file: str) -> Iterator[tuple[_Key, Problem | None]]:
    """Remedies of a stage on a side on which its limit has no end. One quantity has a tolerance on both sides."""
    for number, stage in enumerate(() if operation.tighten is None else operation.tighten.stages, 1):
        limit = _limit_of_stage(stage)
        for side, remedies in stage_remedies(stage):
            if remedies:
                where, mark = f"{operation.id}.tighten.stages[{number}].{side}", remedies[0].mark
                needed = limit is None or _limit_has_end(limit, side)
                problem = None if needed or limit is None else _without_end(side, f"`{limit.text}`", mark, where, file)
                yield (where, mark), problem


def _limit_of_stage(stage: Stage) -> Limit | None:
    """The only limit of a stage; ``None`` if it has none, or a second one of the stretch."""
    if isinstance(stage, CheckStage):
        return stage.limit if stage.nominal is None and stage.stretch is None else None
    return None if isinstance(stage, HandStage | OpenStage) else stage.band


def _without_end(side: str, texts: str, mark: Mark, where: str, file: str) -> Problem:
    message = f"`{side}` has a remedy, but {texts} has no {_END[side]} end"
    hint = "Write that limit, or delete the remedy"
    return _problem("remedy-without-limit", "warning", mark, message, hint, where, file)


def note_complaints_without_evidence(procedure: Procedure, file: str) -> Iterator[Problem]:
    """A note for each complaint whose operations enter nothing that shows later how they were done."""
    guards: dict[str, list[Operation]] = {}
    for operation in every_variant(procedure):
        for ref in operation.guards_against:
            guards.setdefault(ref.name, []).append(operation)
    for failure in procedure.failures:
        operations = guards.get(failure.id, [])
        if operations and not any(_has_evidence(operation, procedure) for operation in operations):
            ids = list(dict.fromkeys(f"`{operation.id}`" for operation in operations))
            message = (
                f"No entry of a job shows how the complaint `{failure.id}` was prevented: {listed(ids, 'and')} "
                f"{'has' if len(ids) == 1 else 'have'} no value and no check"
            )
            hint = "Add a `record`, a `check`, a `tighten` or a `hold` there, so that a come-back can be traced"
            yield _problem("weak-evidence", "note", failure.mark, message, hint, failure.id, file)


def _has_evidence(operation: Operation, procedure: Procedure) -> bool:
    """True if a job keeps an entry of the operation beside that it was done."""
    kit = procedure.kit_by_id
    return any(ref.name in kit and kit[ref.name].lot_required for ref in operation.uses) or bool(
        operation.record or operation.work_out or operation.choose or operation.match or operation.check
        or operation.tighten or operation.hold or operation.time
    )  # fmt: skip


def _problem(code: str, severity: Severity, mark: Mark, message: str, hint: str, where: str, file: str) -> Problem:
    return Problem(code, severity, file, mark.line, mark.column, message, hint, where)
