"""Compares two builds, by one procedure or by two revisions of it."""

from collections.abc import Iterator
from decimal import Decimal

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
from benchflow.review.many.comparison_labels import difference_label, reading_label
from benchflow.trade.rounding import without_trailing_zeros
from benchflow.trade.verdict import VERDICT_TEXT

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

    ``what`` is an id or a word; ``label`` is its text for people.
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


class ReadingPair(Struct, frozen=True):
    """One reading in both builds. ``name`` is its id, ``label`` its text for people.

    ``by`` is right minus left in the unit of the left one; ``None``: not known. The shares are margins: see
    :mod:`benchflow.review.log.margin`.
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


class TimePair(Struct, frozen=True):
    """The time that one operation was in progress, in seconds; ``None``: it was not finished."""

    operation: str
    title: str
    left: float | None
    right: float | None


class Comparison(Struct, frozen=True):
    """The result of a comparison. ``differences`` are in the order of the left build.

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


def compare(left: LoadedLog, right: LoadedLog) -> Comparison:
    """The differences between two builds, their readings and their times."""
    both = _BuildPair(left, right)
    warnings = [f"left: {text}" for text in left.warnings] + [f"right: {text}" for text in right.warnings]
    return Comparison(
        _side_of_log(left),
        _side_of_log(right),
        (*_start_differences(left, right), *both.differences()),
        tuple(both.readings()),
        tuple(both.times()),
        tuple(warnings),
    )


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
        return Difference(kind, "", "", what, difference_label(left.plan, kind, "", what), left_text, right_text, 1, 1)

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
        for operation in self._ordered_operations():
            yield from self._operation_differences(operation)

    def _ordered_operations(self) -> list[str]:
        """The operations of the left build in its order, then those that only the right build has."""
        return list(dict.fromkeys((*self.left_facts, *self.left.plan.steps, *self.right_facts, *self.right.plan.steps)))

    def _operation_title(self, operation: str) -> str:
        return step_title(self._plan_of(operation), operation)

    def _plan_of(self, operation: str) -> Plan:
        """The plan of the left build if it has the operation, otherwise that of the right one."""
        return self.left.plan if operation in self.left.plan.steps else self.right.plan

    def _operation_differences(self, operation: str) -> Iterator[Difference]:
        title = self._operation_title(operation)

        def differs(kind: str, what: str, left: EntryText, right: EntryText) -> Difference:
            label = difference_label(self._plan_of(operation), kind, operation, what)
            return Difference(kind, operation, title, what, label, left.text, right.text, left.seq, right.seq)

        planned = [EntryText("yes" if operation in one.plan.steps else "no") for one in self._logs]
        if planned[0] != planned[1]:
            yield differs("plan", "part of the build", *planned)
            return
        a, b = self.left_facts.get(operation), self.right_facts.get(operation)
        if _is_done(a) != _is_done(b):
            yield differs("done", "done", *(EntryText("done" if _is_done(one) else "not done") for one in (a, b)))
        left, right = (_valid_entries(one, operation) for one in self._logs)
        for kind, what in dict.fromkeys((*left, *right)):
            one, other = left.get((kind, what), NO_ENTRY), right.get((kind, what), NO_ENTRY)
            if one.judged != other.judged:
                yield differs(kind, what, one, other)
        if a is not None and b is not None:
            for kind, what, one, other in _work_differences(a, b):
                yield differs(kind, what, one, other)

    # --- tables ---

    def readings(self) -> Iterator[ReadingPair]:
        for operation in self._ordered_operations():
            a, b = (_valid_readings(one, operation) for one in self._logs)
            for key in dict.fromkeys((*a, *b)):
                label = reading_label(self._plan_of(operation), operation, *key)
                yield _reading_pair(label, a.get(key), b.get(key))

    def times(self) -> Iterator[TimePair]:
        for operation in self._ordered_operations():
            a, b = self.left_facts.get(operation), self.right_facts.get(operation)
            if _is_done(a) or _is_done(b):
                yield TimePair(operation, self._operation_title(operation), _active_seconds(a), _active_seconds(b))


def _work_differences(a: OperationFact, b: OperationFact) -> "Iterator[tuple[str, str, EntryText, EntryText]]":
    if set(a.people) != set(b.people):
        yield "person", "done by", EntryText(", ".join(a.people)), EntryText(", ".join(b.people))
    if a.redone != b.redone:
        yield "redone", "times reworked", EntryText(str(a.redone)), EntryText(str(b.redone))
    if a.done and b.done:
        shorter, longer = sorted((a.active, b.active))
        if longer - shorter >= DIFFERENCE_SECONDS and longer >= DIFFERENCE_FACTOR * shorter:
            yield "time", "working time", EntryText(rounded_duration(a.active)), EntryText(rounded_duration(b.active))


def _is_done(fact: OperationFact | None) -> bool:
    return fact is not None and fact.done


def _active_seconds(fact: OperationFact | None) -> float | None:
    return fact.active if fact is not None and fact.done else None


class EntryText(Struct, frozen=True):
    """An entry as text, with its event. Readings differ if their verdicts differ, other entries if the texts differ."""

    text: str
    seq: int | None = None
    verdict: str = ""

    @property
    def judged(self) -> str:
        """The text that decides whether two entries differ."""
        return self.verdict or self.text


NO_ENTRY = EntryText("")


def _valid_entries(log: LoadedLog, operation: str) -> dict[tuple[str, str], EntryText]:
    """The valid entries of an operation, by kind and name."""
    facts = log.facts
    found: dict[tuple[str, str], EntryText] = {}
    for (name, slot), reading in _valid_readings(log, operation).items():
        words = f"{shown_reading(reading)} ({VERDICT_TEXT[reading.verdict] or 'no limit'})"
        found["reading", f"{name} {slot}".strip()] = EntryText(words, reading.seq, reading.verdict)
    for need, serials in _used_serials(log, operation).items():
        found["instrument", need] = EntryText(", ".join(sorted(serials)))
    for choice in facts.choices:
        if choice.operation == operation and choice.in_force:
            found["choice", choice.name] = EntryText(choice.take, choice.seq)
    for lot in facts.lots:
        if lot.operation == operation and lot.in_force:
            found["lot", lot.consumable] = EntryText(lot.lot, lot.seq)
    for deviation in facts.deviations:
        if deviation.operation == operation and deviation.in_force:
            found["deviation", deviation.about] = EntryText(f"{deviation.by}: {deviation.reason}", deviation.seq)
    for signature in facts.signatures:
        if signature.operation == operation and signature.in_force:
            own = ", who did the work" if signature.self_signed else ""
            found["signature", signature.role] = EntryText(f"{signature.by}{own}", signature.seq)
    return found


def _used_serials(log: LoadedLog, operation: str) -> dict[str, set[str]]:
    """The serials that were used, by the procedure's name for the instrument."""
    found: dict[str, set[str]] = {}
    for reading in log.facts.readings:
        for serial, name in reading.tools if reading.operation == operation and reading.in_force else ():
            if serial:
                found.setdefault(name, set()).add(serial)
    for stage in log.facts.stages:
        if stage.operation == operation and stage.in_force and stage.serial:
            found.setdefault(stage.instrument, set()).add(stage.serial)
    return found


def _valid_readings(log: LoadedLog, operation: str) -> dict[tuple[str, str], ReadingFact]:
    return {(r.name, r.slot): r for r in log.facts.readings if r.in_force and r.operation == operation}


def _reading_pair(label: str, left: ReadingFact | None, right: ReadingFact | None) -> ReadingPair:
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
