"""Changes to a state that several kinds of events share. Each function returns a new state."""

from collections.abc import Mapping
from typing import Any

from msgspec.structs import replace

from benchflow.procedure.identity import ValueRef
from benchflow.session.state.state import State, Work, Write


def with_work(state: State, step: str, work: Work) -> State:
    """The state with ``work`` as all that was entered for ``step``."""
    return replace(state, works={**state.works, step: work})


def with_entry(state: State, step: str, by: str, **changes: Any) -> State:
    """The state after ``by`` entered something for ``step``; ``changes`` are fields of its :class:`Work`.

    Whoever enters something has worked on the operation. A signature given before no longer covers the entries.
    """
    work = state.work(step)
    if work.signed is not None:
        changes |= {"signed": None, "void": work.signed}
    if by not in work.people:
        changes["people"] = work.people | {by}
    return with_work(state, step, replace(work, **changes))


def lapsed_deviations(work: Work, *names: str) -> dict[str, Any]:
    """The fields of ``work`` that change when entries for ``names`` are replaced: their deviations lapse.

    A deviation covers only the entries that existed when it was signed.
    """
    lapsing = {name: work.deviations[name] for name in names if name in work.deviations}
    if not lapsing:
        return {}
    kept = {name: deviation for name, deviation in work.deviations.items() if name not in lapsing}
    return {"deviations": kept, "lapsed": {**work.lapsed, **lapsing}}


def calculated_from(state: State, step: str, name: str) -> tuple[str, ...]:
    """The calculated values of ``step`` whose formula uses ``name``."""
    from benchflow.procedure.formula import names  # late: only an entry that a deviation covers needs formulas

    found = state.plan.steps.get(step)
    if found is None:
        return ()
    same = {name, ValueRef.parse(name).name}
    return tuple(
        value.name
        for value in found.operation.work_out
        if any(ref.name in same for ref in names(state.plan.formula(value)))
    )


def with_writes(state: State, seq: int, step: str, settings: Mapping[str, str | None]) -> State:
    """The state after event ``seq`` set variables. ``step`` is empty for a move and for a state that was found."""
    writes = dict(state.writes)
    for name, value in settings.items():
        past = writes.get(name, ())
        # Moves are never undone: of two in a row only the later can matter.
        if not step and past and not past[-1].step and past[-1].seq:
            past = past[:-1]
        writes[name] = (*past, Write(seq, step, value))
    return replace(state, writes=writes, valuation={**state.valuation, **settings})


def without_writes(state: State, step: str) -> State:
    """The state with every write of ``step`` withdrawn: each variable has the value written before."""
    writes = {name: tuple(w for w in past if w.step != step) for name, past in state.writes.items()}
    valuation = {name: past[-1].value for name, past in writes.items() if past}
    return replace(state, writes=writes, valuation=valuation)


def operation_undone(state: State, step: str, seq: int) -> State:
    """The state after event ``seq`` undid ``step``: all of it has to be done again."""
    state = without_writes(state, step)
    plan_step = state.plan.steps.get(step)
    if plan_step is not None and plan_step.undo_sets:
        state = with_writes(state, seq, "", plan_step.undo_sets)
    if state.in_progress == step:
        state = replace(state, in_progress=None, started=None)
    done = {name: time for name, time in state.done.items() if name != step}
    state = replace(state, done=done)
    return with_work(state, step, Work(redone=state.work(step).redone + 1))
