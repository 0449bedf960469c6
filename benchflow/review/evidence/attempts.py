"""The attempts at a value that were out of its limit before the accepted one: repeated, read again, or corrected."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import pairwise

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.model import EqualWithin, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.review.evidence.corrected_readings import Correction
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.formatting import count, shown, shown_reading
from benchflow.review.log.facts import ReadingFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.margin import Band, margin
from benchflow.review.log.reading_values import Value
from benchflow.session.read_again import READ_AGAIN
from benchflow.session.rules.verdicts import judged_singly, limit_in_force


class OutAttempt(Struct, frozen=True):
    """An attempt that was out of the limit, with the event that replaced it."""

    seq: int
    text: str


class Attempts(Struct, frozen=True):
    """The earlier attempts at one reading, or at readings that are judged together, that were out of the limit.

    ``retaken`` were measured again, and nothing was put right between. ``read_again`` were read again for a stated
    reason. ``corrections`` are those that a correction brought inside.
    """

    name: str
    title: str
    retaken: tuple[OutAttempt, ...]
    read_again: tuple[OutAttempt, ...]
    corrections: tuple[Correction, ...]


class _Attempt(Struct, frozen=True):
    """The readings after one entry. ``text`` is the figure that was compared, ``out`` whether it was out."""

    fact: ReadingFact
    wrong: ReadingFact | None  # the reading that this one corrects
    out: bool
    text: str
    complete: bool


def attempts_of(
    log: LoadedLog, step: Step, record: RecordedValue, index: int, values: Sequence[Value]
) -> Iterator[Attempts]:
    """The attempts at ``record`` by its main limit (``index`` 0) or a further one: for each reading, or for all."""
    facts = [fact for fact in log.facts.readings if fact.operation == step.id and fact.name == record.name]
    if all(fact.in_force for fact in facts):
        return  # most values are measured once
    value = _value_by_limit(record, index, values)
    if value is None:
        return
    by_limit = record.by_limit[index]
    bound = limit_in_force(log.state, step.id, by_limit)
    if judged_singly(by_limit, bound):
        for slot in record.slots:
            chain = [fact for fact in facts if fact.slot == slot]
            within = value.bands.get(slot, value.band)
            title = f"{value.ask} ({slot})" if len(record.slots) > 1 else value.ask
            yield _attempts(log, title, value.limit, within, [_single(log, one, within) for one in chain])
    else:
        spread = isinstance(bound, EqualWithin) or by_limit.judge == "spread"
        judge = "spread" if spread else by_limit.judge
        title = f"{value.ask} ({judge})"
        found = _attempts(log, title, value.limit, value.band, list(_together(log, record, facts, judge, value.band)))
        single = () if judge == "spread" else tuple(_single_corrections(log, facts, value.limit, value.band))
        yield replace(found, corrections=found.corrections or single)


def _single_corrections(log: LoadedLog, facts: Sequence[ReadingFact], limit: str, within: Band) -> Iterator[Correction]:
    """Single readings that a correction brought inside the limit of their mean, smallest or largest."""
    for fact in facts:
        wrong = _corrected(log, fact)
        shares = [margin(Decimal(one.value), within) for one in (wrong, fact) if one is not None]
        if wrong is None or None in shares or not (shares[0] or 0) < 0 <= (shares[1] or 0):
            continue
        reason = str(log.lines[fact.seq - 1].data.get("reason", ""))
        if not reason.startswith(READ_AGAIN) and not _put_right(log, wrong, fact.seq):
            yield Correction(wrong, fact, limit, within, reason)


def _value_by_limit(record: RecordedValue, index: int, values: Sequence[Value]) -> Value | None:
    label = record.also[index - 1].label if index else ""
    return next((value for value in values if value.name == record.name and value.further == label), None)


def _single(log: LoadedLog, fact: ReadingFact, within: Band) -> _Attempt:
    share = margin(Decimal(fact.value), within)
    out = fact.verdict in ("low", "high") or (fact.verdict == "none" and share is not None and share < 0)
    return _Attempt(fact, _corrected(log, fact), out, shown_reading(fact), complete=True)


def _corrected(log: LoadedLog, fact: ReadingFact) -> ReadingFact | None:
    """The reading that ``fact`` corrects; ``None`` for a reading."""
    if not fact.corrected:
        return None
    seq = log.lines[fact.seq - 1].data.get("event")
    return next((one for one in log.facts.readings if one.seq == seq), None)


def _together(
    log: LoadedLog, record: RecordedValue, facts: Sequence[ReadingFact], judge: str, within: Band
) -> Iterator[_Attempt]:
    """The figure of the readings after each entry."""
    now: dict[str, Decimal] = {}
    for fact in facts:
        now[fact.slot] = Decimal(fact.value)
        numbers = list(now.values())
        figure = {
            "largest": max(numbers), "smallest": min(numbers), "spread": max(numbers) - min(numbers),
        }.get(judge, sum(numbers, Decimal(0)) / len(numbers))  # fmt: skip
        share = margin(figure, within)
        complete = len(now) == len(record.slots)
        out = share is not None and share < 0 and (complete or _out_whatever_follows(judge, figure, within))
        text = f"{judge} {shown(figure, fact.unit, fact.entered)}"
        yield _Attempt(fact, _corrected(log, fact), out, text, complete)


def _out_whatever_follows(judge: str, figure: Decimal, within: Band) -> bool:
    """True if no further reading can bring the figure inside: the smallest only falls, largest and spread only grow."""
    if judge == "smallest":
        return within.low is not None and figure < within.low
    return judge in ("largest", "spread") and within.high is not None and figure > within.high


def _attempts(log: LoadedLog, title: str, limit: str, within: Band, chain: Sequence[_Attempt]) -> Attempts:
    retaken: list[OutAttempt] = []
    read_again: list[OutAttempt] = []
    corrections: list[Correction] = []
    for before, after in pairwise(chain):
        if not before.out or _put_right(log, before.fact, after.fact.seq):
            continue
        out = OutAttempt(before.fact.seq, before.text)
        if after.wrong is None:
            retaken.append(out)
            continue
        reason = str(log.lines[after.fact.seq - 1].data.get("reason", ""))
        if reason.startswith(READ_AGAIN):
            read_again.append(out)
        elif not after.out:
            corrections.append(Correction(after.wrong, after.fact, limit, within, reason))
    name = chain[0].fact.name if chain else ""
    return Attempts(name, title, tuple(retaken), tuple(read_again), tuple(corrections))


def _put_right(log: LoadedLog, fact: ReadingFact, until: int) -> bool:
    """True if a remedy was carried out, or the step was reworked, after the reading ``fact`` and before ``until``."""
    done = [one.seq for one in log.facts.remedies if one.operation == fact.operation]
    done += [one.seq for one in log.facts.undone_steps if one.operation == fact.operation]
    return any(fact.seq < seq < until for seq in done)


def retaken_checks(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    """The checks of a step that were answered no and then yes, although nothing was put right between."""
    if not step.operation.check:
        return
    refused: dict[int, list[int]] = {}
    for line in log.lines_by_operation.get(step.id, ()):
        data = line.data
        number = data.get("check", 0)
        if line.kind == "checked" and data.get("answer", "yes") == "no":
            refused.setdefault(number, []).append(line.seq)
        elif line.kind in ("remedied", "undone", "rework-started"):
            refused.clear()
        elif line.kind == "checked" and refused.get(number):
            seqs = refused.pop(number)
            text = step.operation.check[number - 1].text if number <= len(step.operation.check) else ""
            words = f"check {number} ({text}) was answered no {count(len(seqs), 'time')}, then yes"
            yield WeakPoint("retaken", f"{words}; no remedy was entered between", seqs[0], f"check {number}", len(seqs))
