"""Compares two builds, by one procedure or by two revisions of it."""

from collections.abc import Iterator
from decimal import Decimal
from functools import partial

from msgspec import Struct

from benchflow.base.durations import rounded_duration
from benchflow.ordering.wording import step_title
from benchflow.procedure.plan import Plan
from benchflow.quantity import Quantity, QuantityError, base, convert
from benchflow.quantity.arithmetic import from_base
from benchflow.quantity.shown import decimals_shown, round_half_up, with_unit
from benchflow.review.formatting import shown_reading
from benchflow.review.log.facts import OperationFact, ReadingFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.many.comparison_entries import (
    NO_ENTRY,
    EntryText,
    entries_of_operation,
    logged_entries,
    lubricants,
    only_here,
    valid_readings,
)
from benchflow.review.many.comparison_labels import LOGGED_TEXT, difference_label, reading_label
from benchflow.review.many.comparison_sections import PLACE, section_of
from benchflow.trade.rounding import without_trailing_zeros

DIFFERENCE_SECONDS = 10 * 60.0
DIFFERENCE_FACTOR = 2.0
"""Working times are a difference if the longer one is at least twice the shorter and ten minutes longer (common
practice, no source). The table of times shows all working times."""


class Side(Struct, frozen=True):
    """One of the two builds."""

    unit: str
    procedure: str
    revision: str
    sha256: str
    by: str
    opened_at: str
    closed_at: str
    simulated: bool


class Difference(Struct, frozen=True):
    """One difference. ``left`` and ``right`` are texts (``""``: none); ``left_seq`` and ``right_seq`` are events.

    ``what`` is an id or a word; ``label`` is its text for people. ``section`` is the title of its section
    (:mod:`benchflow.review.many.comparison_sections`).
    """

    kind: str
    operation: str
    title: str
    what: str
    label: str
    left: str
    right: str
    left_seq: int | None = None
    right_seq: int | None = None
    section: str = ""


class ReadingPair(Struct, frozen=True):
    """One reading in both builds. ``name`` is its id, ``label`` its text for people.

    ``title`` is that of its operation. ``by`` is right minus left in the unit of the left one; ``None``: not known. The
    shares are margins: see :mod:`benchflow.review.log.margin`.
    """

    operation: str
    name: str
    slot: str
    label: str
    left: str
    right: str
    by: str | None
    left_share: float | None
    right_share: float | None
    left_verdict: str
    right_verdict: str
    title: str = ""


class TimePair(Struct, frozen=True):
    """The working time of one operation without its pauses, in seconds; ``None``: it was not finished."""

    operation: str
    title: str
    left: float | None
    right: float | None


class Comparison(Struct, frozen=True):
    """The result of a comparison. ``differences`` are by section, what matters first; then in the order of the left
    build.

    Two readings with the same verdict do not count as a difference. ``readings`` lists all readings.
    """

    left: Side
    right: Side
    differences: tuple[Difference, ...]
    readings: tuple[ReadingPair, ...]
    times: tuple[TimePair, ...]
    warnings: tuple[str, ...]

    @property
    def first(self) -> Difference | None:
        return self.differences[0] if self.differences else None

    @property
    def without_difference(self) -> str:
        """What is left to compare where ``differences`` is empty, as a sentence."""
        figures = any(pair.left != pair.right for pair in self.readings)
        times = any(pair.left != pair.right for pair in self.times)
        match figures, times:
            case True, True:
                return "Only the figures of readings and the working times differ."
            case True, False:
                return "Only the figures of readings differ."
            case False, True:
                return "Only the working times differ."
            case _:
                return "Nothing differs."


def compare(left: LoadedLog, right: LoadedLog) -> Comparison:
    """The differences between two builds, their readings and their times."""
    both = _BuildPair(left, right)
    differences = sorted((*_start_differences(left, right), *both.differences()), key=lambda each: PLACE[each.kind])
    warnings = [*_same_job_note(left, right), *(f"left: {text}" for text in left.warnings)]
    warnings += [f"right: {text}" for text in right.warnings]
    return Comparison(
        _side_of_log(left),
        _side_of_log(right),
        tuple(differences),
        tuple(both.readings()),
        tuple(both.times()),
        tuple(warnings),
    )


def _same_job_note(left: LoadedLog, right: LoadedLog) -> Iterator[str]:
    """A note if both logs are copies of one job."""
    a, b = left.facts.session, right.facts.session
    if a.session == b.session:
        lengths = f"{a.events} and {b.events} entries"
        yield f"Both logs are copies of one job{'' if a.head == b.head else f', with {lengths}'}."


def _side_of_log(log: LoadedLog) -> Side:
    session, procedure = log.facts.session, log.procedure
    return Side(
        session.unit, procedure.id, procedure.revision, session.procedure, session.by, session.opened_at,
        session.closed_at or "", session.simulated,
    )  # fmt: skip


def _start_differences(left: LoadedLog, right: LoadedLog) -> Iterator[Difference]:
    """Differences in procedure, options and start state."""
    a, b = left.facts.session, right.facts.session

    def differs(kind: str, what: str, left_text: str, right_text: str) -> Difference:
        label = difference_label(left.plan, kind, "", what)
        return Difference(kind, "", "", what, label, left_text, right_text, 1, 1, section_of(kind))

    if left.procedure.id != right.procedure.id:
        yield differs("procedure", "procedure", left.procedure.id, right.procedure.id)
    if a.procedure != b.procedure:
        texts = [
            f"revision {one.procedure.revision}, SHA-256 {one.facts.session.procedure[:12]}" for one in (left, right)
        ]
        yield differs("procedure", "text of the procedure", *texts)
    for name in dict.fromkeys((*a.options, *b.options)):
        if a.options.get(name) != b.options.get(name):
            yield differs("option", name, a.options.get(name, ""), b.options.get(name, ""))
    for name in dict.fromkeys((*a.start, *b.start)):
        if a.start.get(name) != b.start.get(name):
            yield differs("start", name, a.start.get(name) or "not known", b.start.get(name) or "not known")


class _BuildPair:
    """Two builds with their operation facts, from which the differences and tables are made."""

    def __init__(self, left: LoadedLog, right: LoadedLog) -> None:
        self.left, self.right = left, right
        self._logs = (left, right)
        self.left_facts = {fact.operation: fact for fact in left.facts.operations}
        self.right_facts = {fact.operation: fact for fact in right.facts.operations}

    def differences(self) -> Iterator[Difference]:
        yield from self._lubricant_differences()
        for operation in self._ordered_operations():
            yield from self._operation_differences(operation)
        yield from self._logged_differences()

    def _lubricant_differences(self) -> Iterator[Difference]:
        """The joints with another lubricant. A joint of only one build is part of another difference."""
        left, right = lubricants(self.left), lubricants(self.right)
        for joint in left.keys() & right.keys():
            if left[joint].text != right[joint].text:
                yield self._difference("lubricant", "", joint, left[joint], right[joint])

    def _logged_differences(self) -> Iterator[Difference]:
        """What only one of the two logs says, word for word. Lubricants are compared by joint instead."""
        order = {operation: number for number, operation in enumerate(self._ordered_operations())}
        left, right = (list(logged_entries(log)) for log in self._logs)
        found = [(each, EntryText(each.text, each.seq), NO_ENTRY) for each in only_here(left, right)]
        found += [(each, NO_ENTRY, EntryText(each.text, each.seq)) for each in only_here(right, left)]
        for each, one, other in sorted(found, key=lambda row: order.get(row[0].operation, -1)):
            yield self._difference(each.kind, each.operation, LOGGED_TEXT[each.kind], one, other)

    def _difference(self, kind: str, operation: str, what: str, left: EntryText, right: EntryText) -> Difference:
        label = difference_label(self._plan_of(operation), kind, operation, what)
        title = self._operation_title(operation) if operation else ""
        return Difference(
            kind, operation, title, what, label, left.text, right.text, left.seq, right.seq, section_of(kind)
        )

    def _ordered_operations(self) -> list[str]:
        """The operations of the left build in its order, then those that only the right build has."""
        return list(dict.fromkeys((*self.left_facts, *self.left.plan.steps, *self.right_facts, *self.right.plan.steps)))

    def _operation_title(self, operation: str) -> str:
        return step_title(self._plan_of(operation), operation)

    def _plan_of(self, operation: str) -> Plan:
        """The plan of the left build if it has the operation, otherwise that of the right one."""
        return self.left.plan if operation in self.left.plan.steps else self.right.plan

    def _operation_differences(self, operation: str) -> Iterator[Difference]:
        differs = partial(self._difference_of, operation)
        planned = [EntryText("yes" if operation in one.plan.steps else "no") for one in self._logs]
        if planned[0] != planned[1]:
            yield differs("plan", "part of the build", *planned)
            return
        a, b = self.left_facts.get(operation), self.right_facts.get(operation)
        if _is_done(a) != _is_done(b):
            yield differs("done", "done", *(EntryText("done" if _is_done(one) else "not done") for one in (a, b)))
        limits = self.left.facts.session.procedure != self.right.facts.session.procedure
        left, right = (entries_of_operation(one, operation, limits=limits) for one in self._logs)
        for kind, what in dict.fromkeys((*left, *right)):
            one, other = left.get((kind, what), NO_ENTRY), right.get((kind, what), NO_ENTRY)
            if one.judged != other.judged:
                yield differs(kind, what, one, other)
        if a is not None and b is not None:
            for kind, what, one, other in _work_differences(a, b):
                yield differs(kind, what, one, other)

    def _difference_of(self, operation: str, kind: str, what: str, left: EntryText, right: EntryText) -> Difference:
        return self._difference(kind, operation, what, left, right)

    # --- tables ---

    def readings(self) -> Iterator[ReadingPair]:
        for operation in self._ordered_operations():
            a, b = (valid_readings(one, operation) for one in self._logs)
            for key in dict.fromkeys((*a, *b)):
                label = reading_label(self._plan_of(operation), operation, *key)
                yield _reading_pair(label, self._operation_title(operation), a.get(key), b.get(key))

    def times(self) -> Iterator[TimePair]:
        for operation in self._ordered_operations():
            a, b = self.left_facts.get(operation), self.right_facts.get(operation)
            if _is_done(a) or _is_done(b):
                yield TimePair(operation, self._operation_title(operation), _active_seconds(a), _active_seconds(b))


def _work_differences(a: OperationFact, b: OperationFact) -> Iterator[tuple[str, str, EntryText, EntryText]]:
    if set(a.people) != set(b.people):
        yield "person", "done by", EntryText(", ".join(a.people)), EntryText(", ".join(b.people))
    if a.redone != b.redone:
        yield "redone", "times reworked", EntryText(str(a.redone)), EntryText(str(b.redone))
    if a.done and b.done:
        shorter, longer = sorted((a.active, b.active))
        if longer - shorter >= DIFFERENCE_SECONDS and longer >= DIFFERENCE_FACTOR * shorter:
            yield "time", "working time", EntryText(rounded_duration(a.active)), EntryText(rounded_duration(b.active))
        if abs(a.pauses - b.pauses) >= DIFFERENCE_SECONDS:
            yield "pause", "left in progress", EntryText(_pause_text(a)), EntryText(_pause_text(b))


def _pause_text(fact: OperationFact) -> str:
    return f"for {rounded_duration(fact.pauses)}" if fact.pauses else ""


def _is_done(fact: OperationFact | None) -> bool:
    return fact is not None and fact.done


def _active_seconds(fact: OperationFact | None) -> float | None:
    return fact.active if fact is not None and fact.done else None


def _reading_pair(label: str, title: str, left: ReadingFact | None, right: ReadingFact | None) -> ReadingPair:
    named = left or right
    assert named is not None  # every key is in at least one of the two builds
    return ReadingPair(
        operation=named.operation,
        name=named.name,
        slot=named.slot,
        label=label,
        left="" if left is None else shown_reading(left),
        right="" if right is None else shown_reading(right),
        by=_difference_text(left, right),
        left_share=None if left is None else left.share,
        right_share=None if right is None else right.share,
        left_verdict="" if left is None else left.verdict,
        right_verdict="" if right is None else right.verdict,
        title=title,
    )


def _difference_text(left: ReadingFact | None, right: ReadingFact | None) -> str | None:
    if left is None or right is None:
        return None
    try:
        one = Quantity(Decimal(left.value), left.unit, left.entered)
        other = convert(Quantity(Decimal(right.value), right.unit, right.entered), left.unit)
    except QuantityError:
        return None
    places = max(decimals_shown(one), decimals_shown(other))
    exact = from_base(base(other) - base(one), left.unit, difference=True)
    value = without_trailing_zeros(round_half_up(exact, places))
    return f"{'+' if value > 0 else ''}{with_unit(f'{value:f}', left.unit)}"
