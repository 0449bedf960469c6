"""Collects the facts of readings and calculated values while the events of a log are folded into states."""

from msgspec.structs import replace

from benchflow.quantity import Quantity
from benchflow.quantity.arithmetic import base_of_difference, decimal, from_base
from benchflow.review.log.facts import ReadingFact, tool_lines
from benchflow.review.log.margin import band, margin, number
from benchflow.session.log.line_format import Line
from benchflow.session.state import events as ev
from benchflow.session.state.state import State, Work


class ReadingFacts:
    """The readings and calculated values of one log. Each has the ``seq`` of its event."""

    def __init__(self) -> None:
        self.by_seq: dict[int, ReadingFact] = {}
        # The state has no seq for calculated values. The last event with a key is the one in force.
        self._last_calculated: dict[tuple[str, str, str], tuple[int, int]] = {}  # seq, times undone
        self._claimed_by: dict[int, int] = {}  # the seq of a reading whose `used` was stated later, and of that event

    def recorded(self, event: ev.ReadingRecorded, after: State, line: Line, at: str) -> None:
        """Add a reading. One that only states ``used`` again replaces the fact of the same reading."""
        attempts = after.work(event.operation).readings[event.name][event.reading]
        attempt = sum(each.claims is None for each in attempts)
        fact = _reading_fact(event, line, at, event.reading, attempt)
        claimed = None if event.claims is None else self.by_seq.pop(event.claims, None)
        if claimed is not None and event.claims is not None:
            self._claimed_by[event.claims] = line.seq
            fact = replace(fact, instrument=claimed.instrument, serial=claimed.serial, others=claimed.others)
        self.by_seq[line.seq] = fact

    def calculated(self, event: ev.ValueCalculated, before: State, line: Line, at: str) -> None:
        work = before.work(event.operation)
        key = event.operation, event.name, event.reading
        seq, redone = self._last_calculated.get(key, (0, 0))
        again = seq and _calculation_in_force(work, event.name, seq, redone)
        attempt = self.by_seq[seq].attempt + 1 if again else 1
        self.by_seq[line.seq] = _reading_fact(event, line, at, event.reading, attempt)
        self._last_calculated[key] = line.seq, work.redone

    def judged_again(self, event: ev.ReadingsJudgedAgain, after: State) -> None:
        """Give readings the verdict by a limit that was corrected. A further limit is not one of a single reading."""
        for text, verdict in () if event.further else event.verdicts.items():
            fact = self.by_seq.get(int(text))
            if fact is not None and event.together:
                self.by_seq[fact.seq] = replace(fact, limit=event.limit)
            elif fact is not None:
                quantity = ev.StoredQuantity(fact.value, fact.unit, fact.entered)
                share, two_ended = _share(verdict, quantity, event.limit, difference=False)
                self.by_seq[fact.seq] = replace(
                    fact, verdict=verdict, limit=event.limit, conformity=_conformity(after, fact, fact.seq),
                    share=share, two_ended=two_ended,
                )  # fmt: skip

    def corrected(
        self, event: ev.EntryCorrected, quantity: ev.StoredQuantity, before: State, after: State, line: Line, at: str
    ) -> None:
        """Add a corrected reading. Its limit, decision rule and instrument are those of the wrong reading."""
        seq = event.event
        while seq in self._claimed_by:
            seq = self._claimed_by[seq]
        wrong = self.by_seq.get(seq)
        if wrong is None:
            return
        attempts = before.work(wrong.operation).readings.get(wrong.name, {}).get(wrong.slot, ())
        share, two_ended = _share(event.verdict, quantity, wrong.limit, difference=False)
        self.by_seq[line.seq] = replace(
            wrong, seq=line.seq, at=at, by=line.by,
            value=quantity.value, unit=quantity.unit, entered=quantity.entered, verdict=event.verdict,
            uncertainty=_in_unit(event.uncertainty, quantity.unit),
            conformity=_conformity(after, wrong, line.seq), attempt=len(attempts) + 1, corrected=True,
            share=share, two_ended=two_ended,
        )  # fmt: skip

    def in_force(self, state: State) -> set[int]:
        """The ``seq`` of the readings and calculated values that are valid in ``state``, the last one."""
        recorded = {
            attempts[-1].seq
            for work in state.works.values()
            for readings in work.readings.values()
            for attempts in readings.values()
        }
        calculated = {
            seq
            for (operation, name, _), (seq, redone) in self._last_calculated.items()
            if _calculation_in_force(state.work(operation), name, seq, redone)
        }
        return recorded | calculated


def _reading_fact(
    event: ev.ReadingRecorded | ev.ValueCalculated, line: Line, at: str, slot: str, attempt: int
) -> ReadingFact:
    difference = isinstance(event, ev.ValueCalculated) and event.difference
    share, two_ended = _share(event.verdict, event.quantity, event.limit, difference=difference)
    instrument = serial = filled = others = ""
    if isinstance(event, ev.ReadingRecorded):
        instrument, serial = event.instrument or "", event.serial or ""
        others = tool_lines(event.tools[1:])
    else:
        filled = event.filled
    return ReadingFact(
        seq=line.seq, at=at, by=line.by, operation=event.operation, name=event.name, slot=slot,
        value=event.quantity.value, unit=event.quantity.unit, entered=event.quantity.entered, verdict=event.verdict,
        limit=event.limit, decision=event.decision, instrument=instrument, serial=serial,
        uncertainty=_in_unit(event.uncertainty, event.quantity.unit),
        conformity=event.conformity or "", attempt=attempt, in_force=False, corrected=False, filled=filled,
        share=share, two_ended=two_ended, calculated=isinstance(event, ev.ValueCalculated), difference=difference,
        others=others,
    )  # fmt: skip


def _share(verdict: str, quantity: ev.StoredQuantity, limit: str, *, difference: bool) -> tuple[float | None, bool]:
    """The margin of a reading, and whether its limit has two ends. One that is judged with others has no margin."""
    value, within = number(quantity.value), band(limit, quantity.unit, difference=difference)
    return None if value is None or verdict == "none" else margin(value, within), within.two_ended


def _in_unit(u: ev.StoredQuantity | None, unit: str) -> str:
    """A standard uncertainty as a number in ``unit``. ``""`` if it is not known."""
    value = None if u is None else number(u.value)
    if u is None or value is None:
        return ""
    if u.unit == unit:
        return u.value
    exact = base_of_difference(Quantity(value, u.unit, u.entered))
    return format(decimal(from_base(exact, unit, difference=True)), "f")


def _conformity(state: State, wrong: ReadingFact, seq: int) -> str:
    """The probability of conformity of a corrected reading, which its event does not have."""
    from benchflow.session.rules.measurements import attempt_measurement  # imported late: corrections are rare
    from benchflow.session.rules.verdicts import judge_reading

    step = state.plan.steps.get(wrong.operation)
    record = None if step is None else step.record(wrong.name)
    found = state.work(wrong.operation).readings.get(wrong.name, {}).get(wrong.slot, ())
    attempt = next((one for one in found if one.seq == seq), None)
    if record is None or attempt is None or wrong.slot not in record.slots:
        return ""
    record = record.at(wrong.slot)
    judged = judge_reading(state, record, attempt_measurement(record, attempt), attempt.used)
    return "" if judged is None or judged.conformity is None else f"{judged.conformity:.4f}"


def _calculation_in_force(work: Work, name: str, seq: int, redone: int) -> bool:
    """True if the value calculated by event ``seq`` is in force: it was not reworked or remedied later.

    ``redone`` is the number of times that the operation had been reworked before that event.
    """
    return redone == work.redone and work.remedied.get(name, 0) < seq
