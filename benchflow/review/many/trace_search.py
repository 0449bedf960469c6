"""Traces an instrument, lot, person, operation or reading through all sessions, the worst affected first.

For example: a wrench fails its calibration. The trace lists the engines to call back.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.quantity import Quantity, QuantityError, convert, dimension_of, show_short
from benchflow.quantity.shown import decimals_shown, round_half_up
from benchflow.review.evidence.ranking import (
    NEAR_SHARE,
    NEAR_SHARE_ONE_END,
    ONE_END_FACTOR,
    WeakPoint,
    weakness,
    worst_first,
)
from benchflow.review.evidence.weights import SUSPECT
from benchflow.review.formatting import count, local_time_with_zone, margin_text, shown, shown_reading
from benchflow.review.log.facts import InstrumentFact, ReadingFact, StageFact
from benchflow.review.log.margin import band, margin, number
from benchflow.review.many.doubted_use import checked_good_later, doubt_reasons, doubtful_instruments
from benchflow.review.many.instrument_error import (
    figure_point,
    reading_allowance,
    torque_point,
    wrench_allowance,
)
from benchflow.review.many.session_question import (
    InstrumentSubject,
    LotSubject,
    OperationSubject,
    PersonSubject,
    Question,
    ReadingSubject,
    SessionMatch,
    SessionSource,
)
from benchflow.review.many.teardown_search import TracedTeardown, about, trace_teardowns
from benchflow.review.many.trace_names import named_matches
from benchflow.session.rules.deviation_subjects import subject_text
from benchflow.session.shop.register import Shop
from benchflow.trade.instruments import Instrument
from benchflow.trade.verdict import NOT_ACCEPTED


class TraceQuestion(Struct, frozen=True):
    """A question with the conditions that a reading must meet.

    ``reads_high`` is the relative error found in the instrument: 0.06 means that it reads 6 % too high. A reading
    counts if it is below ``low``, above ``high``, or has a margin of less than ``share``. Without these conditions
    every reading counts.
    """

    question: Question
    reads_high: Decimal | None = None
    low: Quantity | None = None
    high: Quantity | None = None
    share: float | None = None


class TracedSession(Struct, frozen=True):
    """One session that the trace found. ``reasons`` are sorted, the worst first. ``fasteners`` and ``readings`` count
    valid work. ``only_mentioned`` is true if nothing but the error of the instrument concerns it, and the instrument
    was allowed that error."""

    session: str
    unit: str
    by: str
    opened_at: str
    closed: bool
    simulated: bool
    bench: str
    path: str
    reasons: tuple[WeakPoint, ...]
    fasteners: int
    readings: int
    only_mentioned: bool = False

    @property
    def grade(self) -> int:
        return max((reason.grade for reason in self.reasons), default=0)


class Trace(Struct, frozen=True):
    """The result of a trace. ``looked_at`` counts the sessions searched; ``left_out`` names files not searched.

    ``teardowns`` are those with entries of the subject. They have no limits, so they are not ranked.
    """

    asked: str
    touched: tuple[TracedSession, ...]
    looked_at: int
    left_out: tuple[str, ...]
    notes: tuple[str, ...]
    teardowns: tuple[TracedTeardown, ...] = ()


def trace(source: SessionSource, conditions: TraceQuestion, register: Shop | None = None) -> Trace:
    """Every session that the question affects, the weakest first.

    Readings that are out of their limit when corrected come first. Then the sessions are sorted by reasons
    (:mod:`benchflow.review.evidence.ranking`), by the number of valid fasteners and readings, and the latest first.

    ``register`` has the instruments and people of the register, which may know a name that no job has.

    Raises:
        UnknownName: no job and no register has the name.
        BenchflowError: the error of an instrument is given, and its name means several; or a value of the conditions
            is of another kind of quantity than every reading.
    """
    question, found, name_notes = named_matches(
        source, conditions.question, register, one_only=conditions.reads_high is not None
    )
    conditions = replace(conditions, question=question)
    teardowns = _teardowns_with(source, conditions)
    _refuse_other_dimension(found, conditions)
    doubtful = doubtful_instruments(register, question.subject)
    touched = [session for match in found if (session := _traced_session(match, conditions, doubtful)) is not None]
    touched.sort(key=lambda session: session.opened_at, reverse=True)
    touched.sort(key=_consequence, reverse=True)
    left_out = tuple(f"{file.path} {file.why}" for file in source.left_out())
    simulated = sum(session.simulated for session in touched)
    notes = (f"{simulated} of these {'is' if simulated == 1 else 'are'} simulated.",) if simulated else ()
    notes = (*name_notes, *notes)
    return Trace(question_text(conditions), tuple(touched), source.count(), left_out, notes, teardowns)


def _teardowns_with(source: SessionSource, conditions: TraceQuestion) -> tuple[TracedTeardown, ...]:
    """The teardowns with entries of the subject. Their readings have no limit, so none has a margin."""
    if conditions.share is not None:
        return ()
    question = conditions.question
    matches = about(question.subject, conditions.low, conditions.high)
    return trace_teardowns(source.teardowns(), matches, question.since, question.until)


def _refuse_other_dimension(found: Sequence[SessionMatch], conditions: TraceQuestion) -> None:
    """Check that the values of the conditions can be compared with a reading.

    Raises:
        BenchflowError: every reading is of another kind of quantity.
    """
    units = {reading.unit for match in found for reading in match.readings if reading.in_force}
    for option, value in (("--below", conditions.low), ("--above", conditions.high)):
        if value is not None and units and not any(_comparable(value.unit, unit) for unit in units):
            unit = min(units)
            raise BenchflowError(
                f"{option} {show_short(value)} is {_kind_of(value.unit)}. The reading is {_kind_of(unit)}"
                f"{f', in {unit}' if unit else ''}. Give {option} {f'in {unit}' if unit else 'as a number'}."
            )


def _comparable(unit: str, other: str) -> bool:
    try:
        return dimension_of(unit) == dimension_of(other)
    except QuantityError:
        return unit == other


def _kind_of(unit: str) -> str:
    try:
        dimension = dimension_of(unit)
    except QuantityError:
        return f"in {unit}"
    return f"{'an' if dimension[:1] in 'aeio' else 'a'} {dimension}" if dimension else "a number without a unit"


def _consequence(session: TracedSession) -> tuple[bool, tuple[int, ...], float, int]:
    """The sort key by consequence: out when corrected, the worst grade, its size, then the amount of work."""
    would_be_out = any(reason.kind == "would-be-out" for reason in session.reasons)
    size = session.reasons[0].size if session.reasons else 0.0
    return would_be_out, weakness(session.reasons)[:1], size, session.fasteners + session.readings


def question_text(conditions: TraceQuestion) -> str:
    """The question in words: ``instrument T-0117, from 2026-03-01 00:00 CET``. Times are local."""
    question = conditions.question
    match question.subject:
        case InstrumentSubject(serial, others):
            words = f"instrument {serial}" + (f" (serial {', '.join(others)})" if others else "")
        case LotSubject(lot):
            words = f"lot {lot}"
        case PersonSubject(name):
            words = f"person {name}"
        case OperationSubject(operation):
            words = f"operation {operation}"
        case ReadingSubject(name):
            words = f"reading {name}"
    if conditions.reads_high is not None:
        direction = "high" if conditions.reads_high > 0 else "low"
        words += f", found to read {float(abs(conditions.reads_high)) * 100:.3g} % too {direction}"
    for end, at in (("below", conditions.low), ("above", conditions.high)):
        if at is not None:
            words += f", {end} {show_short(at)}"
    if conditions.share is not None:
        words += f", with less than {conditions.share:.0%} of its band left".replace("%", " %")
    if question.since:
        words += f", from {local_time_with_zone(question.since)}"
    if question.until:
        words += f", to {local_time_with_zone(question.until)}"
    return words


def _traced_session(
    session_match: SessionMatch, conditions: TraceQuestion, doubtful: tuple[Instrument, ...]
) -> TracedSession | None:
    readings = session_match.readings
    if isinstance(conditions.question.subject, ReadingSubject):
        readings = tuple(reading for reading in readings if reading.in_force and _meets_conditions(reading, conditions))
        if not readings:
            return None
    fasteners = _count_fasteners(session_match)
    in_force = [reading for reading in readings if reading.in_force]
    good = checked_good_later(session_match, doubtful) if conditions.reads_high is not None else ""
    conditions = replace(conditions, reads_high=None) if good else conditions
    found = [*_trace_reasons(session_match, readings, fasteners, conditions), *doubt_reasons(session_match, doubtful)]
    if good:
        found.append(WeakPoint("in-force", f"used before the last good check of {good}; the error came later"))
    reasons = worst_first(found)
    session = session_match.session
    allowed = any(reason.kind == "error-allowed" for reason in reasons)
    return TracedSession(
        session.session, session.unit, session.by, session.opened_at, session.closed, session.simulated,
        session_match.bench, session_match.path, reasons, sum(fasteners.values()), len(in_force),
        allowed and all(reason.grade < SUSPECT for reason in reasons),
    )  # fmt: skip


def _count_fasteners(session_match: SessionMatch) -> dict[tuple[str, str], int]:
    """The number of valid fasteners by operation and joint. The stage with the most fasteners counts."""
    stages: dict[tuple[str, str, int], int] = {}
    only_read = all(fact.stretch for fact in session_match.stages)
    for fact in session_match.stages:
        # The same fastener has a fact for torque and one for stretch. Stretch counts only where there is nothing else.
        if fact.in_force and (not fact.stretch or only_read):
            key = (fact.operation, fact.joint, fact.stage)
            stages[key] = stages.get(key, 0) + fact.fasteners
    most: dict[tuple[str, str], int] = {}
    for (operation, joint, _), fasteners in stages.items():
        most[operation, joint] = max(most.get((operation, joint), 0), fasteners)
    return most


def _trace_reasons(
    session_match: SessionMatch,
    readings: tuple[ReadingFact, ...],
    fasteners: dict[tuple[str, str], int],
    conditions: TraceQuestion,
) -> Iterator[WeakPoint]:
    in_force = False
    for reading in readings:
        if reading.in_force:
            in_force = True
            yield from _reading_reasons(reading, conditions, session_match.instruments)
    for fact in session_match.stages:
        if fact.in_force and fact.bad:
            words = f"{count(fact.bad, 'fastener')} of {fact.joint} out of the limits"
            yield WeakPoint("out-of-limit", words, fact.seq, fact.joint)
    for (operation, joint), number_of in fasteners.items():
        in_force = True
        stage = _decisive_stage(session_match, operation, joint)
        if conditions.reads_high and stage is not None:
            allowed = wrench_allowance(stage, session_match.instruments)
            point = torque_point if stage.kind in ("torque", "") and not stage.stretch else figure_point
            yield point(stage, number_of, conditions.reads_high, allowed)
        else:
            yield WeakPoint("in-force", f"{count(number_of, 'fastener')} of {joint} ({operation})", None, joint)
    for lot in session_match.lots:
        in_force = in_force or lot.in_force
        kind = "in-force" if lot.in_force else "replaced"
        yield WeakPoint(kind, f"{lot.consumable}, lot {lot.lot}, in {lot.operation}", lot.seq, lot.consumable)
    for deviation in session_match.deviations:
        if deviation.in_force:
            words = (
                f"{deviation.by} signed a deviation from {subject_text(deviation.about)} in {deviation.operation}: "
                f"{deviation.reason}"
            )
            yield WeakPoint("deviation", words, deviation.seq, deviation.about)
    for signature in session_match.signatures:
        if signature.in_force:
            in_force = True
            if signature.self_signed:
                words = f"{signature.by} signed the hold point of {signature.operation} for their own work"
                yield WeakPoint("self-signed", words, signature.seq, "hold")
    yield from _operation_reasons(session_match)
    if not in_force and not any(operation.done for operation in session_match.operations):
        yield WeakPoint("replaced", "all of this work was replaced")


def _decisive_stage(session_match: SessionMatch, operation: str, joint: str) -> StageFact | None:
    """The stage that decides the clamp load: the last one of torque in force, else the last one in force."""
    stages = [
        fact
        for fact in session_match.stages
        if fact.in_force and (fact.operation, fact.joint) == (operation, joint) and fact.fasteners
    ]
    of_torque = [fact for fact in stages if fact.kind == "torque" and not fact.stretch]
    return max(of_torque or stages, key=lambda fact: (not fact.stretch, fact.stage), default=None)


def _reading_reasons(
    reading: ReadingFact, conditions: TraceQuestion, instruments: tuple[InstrumentFact, ...]
) -> Iterator[WeakPoint]:
    slot = f" ({reading.slot})" if reading.slot else ""
    figure = f"{reading.name}{slot} {shown_reading(reading)}"
    corrected = _corrected_value(reading, conditions.reads_high)
    if corrected is not None:
        words = f"{figure} would be {shown(corrected, reading.unit)}, outside {reading.limit}"
        yield _would_be_out(words, corrected, reading, conditions, instruments)
    if reading.verdict in NOT_ACCEPTED:
        how = "not proven within" if reading.verdict == "not-proven" else "outside"
        kind = "not-proven" if reading.verdict == "not-proven" else "out-of-limit"
        beyond = max(0.0, -(reading.share or 0.0)) * (1.0 if reading.two_ended else ONE_END_FACTOR)
        yield WeakPoint(kind, f"{figure}, {how} {reading.limit}", reading.seq, reading.name, beyond)
    elif reading.share is not None and reading.share < (NEAR_SHARE if reading.two_ended else NEAR_SHARE_ONE_END):
        within = band(reading.limit, reading.unit)
        words = f"{figure}: {margin_text(reading.share, within, reading.limit)}"
        size = reading.share if reading.two_ended else reading.share * ONE_END_FACTOR
        yield WeakPoint("near-limit", words, reading.seq, reading.name, size)
    else:
        yield WeakPoint(
            "in-force", f"{figure}{f', limit {reading.limit}' if reading.limit else ''}", reading.seq, reading.name
        )


def _would_be_out(
    words: str,
    corrected: Decimal,
    reading: ReadingFact,
    conditions: TraceQuestion,
    instruments: tuple[InstrumentFact, ...],
) -> WeakPoint:
    """The weak point of a reading that the error of its instrument puts out, by how much. An allowed error is only
    mentioned."""
    subject = conditions.question.subject
    serials = subject.serials if isinstance(subject, InstrumentSubject) else ()
    serial = next((serial for serial, _ in reading.tools if serial in serials), "")
    allowed = reading_allowance(reading, serial, instruments)
    if conditions.reads_high is not None and abs(float(conditions.reads_high)) <= allowed.share * (1 + 1e-9):
        words += f"; the error is within the {allowed.stated} that the instrument states"
        return WeakPoint("error-allowed", words, reading.seq, reading.name)
    within = band(reading.limit, reading.unit)
    left = margin(corrected, within) or 0.0
    return WeakPoint(
        "would-be-out", words, reading.seq, reading.name, -left * (1.0 if within.two_ended else ONE_END_FACTOR)
    )


def _corrected_value(reading: ReadingFact, reads_high: Decimal | None) -> Decimal | None:
    """The true value of a reading that is inside its limit only because of the error of the instrument; otherwise
    ``None``. An instrument with ``reads_high`` 0.06 shows 106 for 100."""
    value = number(reading.value)
    if reads_high is None or value is None or reading.verdict != "ok" or reads_high <= -1:
        return None
    true = value / (1 + reads_high)
    left = margin(true, band(reading.limit, reading.unit))
    if left is None or left >= 0:
        return None
    read = Quantity(Decimal(reading.value), reading.unit, reading.entered)
    return round_half_up(Fraction(true), decimals_shown(read) + 1)


def _meets_conditions(reading: ReadingFact, conditions: TraceQuestion) -> bool:
    """True if a reading meets the conditions of the question, or the question has no conditions."""
    if conditions.low is None and conditions.high is None and conditions.share is None:
        return True
    if conditions.share is not None and reading.share is not None and reading.share < conditions.share:
        return True
    value = number(reading.value)
    if value is None:
        return False
    try:
        low = None if conditions.low is None else convert(conditions.low, reading.unit).value
        high = None if conditions.high is None else convert(conditions.high, reading.unit).value
    except QuantityError:
        return False  # another value with the same name has another dimension
    return (low is not None and value < low) or (high is not None and value > high)


def _operation_reasons(session_match: SessionMatch) -> Iterator[WeakPoint]:
    for operation in session_match.operations:
        if not operation.done:
            yield WeakPoint("never-done", f"{operation.operation} was started, and is not done")
        elif operation.redone:
            yield WeakPoint("redone", f"{operation.operation} was done {count(operation.redone + 1, 'time')}")
        else:
            yield WeakPoint("in-force", f"{operation.operation}, by {', '.join(operation.people)}")
