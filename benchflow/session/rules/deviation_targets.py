"""The entries of an operation that a deviation covers when it is signed."""

from typing import NamedTuple

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import PartMatching
from benchflow.procedure.plan import Step
from benchflow.session.context import refuse
from benchflow.session.refusal import Refusal
from benchflow.session.rules.choice_tables import choice_reasons
from benchflow.session.rules.choice_waivers import choice_entries, match_entries
from benchflow.session.rules.deviation_subjects import TIME, window_subject
from benchflow.session.rules.joint_progress import fasteners_named
from benchflow.session.rules.open_values import value_title
from benchflow.session.rules.part_matching import match_reasons
from benchflow.session.rules.value_results import named_value, results_of
from benchflow.session.state.state import HOLD, State, check_key
from benchflow.trade.verdict import OUT_OF_LIMIT


class DeviationTarget(NamedTuple):
    """One subject of a deviation, and the ``seq`` of each entry that it covers.

    ``open`` is false if nothing about the subject needs a deviation now.
    """

    subject: str
    entries: frozenset[int]
    open: bool


def deviation_targets(state: State, step: Step, about: str) -> tuple[DeviationTarget, ...] | Refusal:
    """What a deviation about ``about`` covers now: each reading that is out of its limit, each part that does not fit.

    If nothing is out, it covers what is entered. It is refused if there is no entry. ``about`` is a standard name
    (:func:`benchflow.session.rules.signatures.deviation_subject`). A hold or a time window has no entries.
    """
    if about in (HOLD, TIME) or about.startswith(window_subject("")):
        return (DeviationTarget(about, frozenset(), open=True),)
    for number, point in enumerate(step.operation.check, 1):
        if about == check_key(number):
            return _check_target(state, step, number, point.text)
    found = list(_targets(state, step, about))
    chosen = [target for target in found if target.open] or found
    if chosen and (chosen[0].open or not _missing(state, step, about)):
        return tuple(chosen)
    if fasteners_named(state, step, about):
        message = f"{about}: no tick is out of its limit, and no fastener failed. There is nothing to deviate from"
        return refuse("value-missing", message, operation=step.id, name=about)
    title = value_title(step, about)
    message = f"{title} is not entered yet. A deviation covers only what is entered when it is signed. Enter it first"
    return refuse("value-missing", message, operation=step.id, name=about)


def _check_target(state: State, step: Step, number: int, text: str) -> tuple[DeviationTarget, ...] | Refusal:
    """What a deviation about a check covers: its answer no. It is refused without one."""
    seq = state.work(step.id).failed.get(number)
    if seq is None:
        message = f"Check {number} ({text}) is not answered no, so there is nothing to deviate from. Answer it first"
        return refuse("value-missing", message, operation=step.id, name=check_key(number))
    return (DeviationTarget(check_key(number), frozenset((seq,)), open=True),)


def _targets(state: State, step: Step, about: str) -> list[DeviationTarget]:
    named = named_value(state, step, about)
    if named is not None:
        name, slot = named
        found: dict[str, DeviationTarget] = {}
        for result in results_of(state, step, name):
            if slot is None or result.slot in (slot, ""):
                # the results by several limits can be about the same readings
                same = found.get(result.subject, DeviationTarget(result.subject, frozenset(), open=False))
                entries, is_open = same.entries | result.entries, same.open or result.open
                found[result.subject] = DeviationTarget(result.subject, entries, is_open)
        return list(found.values())
    table = step.choice(about)
    if table is not None:
        entries = choice_entries(state, step, table)
        out = any(reason.code == "out-of-limit" and reason.name == about for reason in choice_reasons(state, step))
        return [DeviationTarget(about, entries, out)] if out or about in state.work(step.id).chosen else []
    ref = ValueRef.parse(about)
    match = step.match(about) or step.match(ref.name)
    if match is not None:
        return _match_targets(state, step, match, ref.place)
    return _joint_targets(state, step, about)


def _joint_targets(state: State, step: Step, about: str) -> list[DeviationTarget]:
    """The ticks that are out of their band, and the failed fasteners: of the whole joint, or one fastener."""
    fasteners, work = fasteners_named(state, step, about), state.work(step.id)
    out = [tick for tick in work.ticks_in_force.values() if tick.fastener in fasteners and tick.verdict in OUT_OF_LIMIT]
    failed = [one for number, one in work.failed_fasteners.items() if number in fasteners]
    entries = frozenset((*(tick.entry for tick in out), *(one.seq for one in failed)))
    return [DeviationTarget(about, entries, not entries <= work.covered)] if entries else []


def _match_targets(state: State, step: Step, match: PartMatching, place: str | None) -> list[DeviationTarget]:
    out = {reason.name for reason in match_reasons(state, step) if reason.code == "out-of-limit"}
    places = state.plan.procedure.places.get(match.to, ()) if place is None else (place,)
    found = []
    for at in places:
        name = str(ValueRef(match.name, at))
        if name in state.work(step.id).chosen:
            found.append(DeviationTarget(name, match_entries(state, step, match, at), name in out))
    return found


def _missing(state: State, step: Step, about: str) -> bool:
    """True if a reading of the value is missing that ``about`` includes."""
    named = named_value(state, step, about)
    record = None if named is None or named[1] is not None else step.record(named[0])
    if record is None:
        return False
    entered = state.work(step.id).readings.get(record.name, {})
    return any(slot not in entered for slot in record.slots)
