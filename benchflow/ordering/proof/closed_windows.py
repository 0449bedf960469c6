"""Finds time windows that cannot be opened again once they have closed, because the procedure does not say how.

At the bench, a closed window is opened by doing the earlier operation again, or by what starts its clock again. Both
have to be in the procedure. Otherwise only a signed deviation is left, or nothing.
"""

from collections.abc import Iterator

from msgspec.structs import replace

from benchflow.base.durations import rounded_duration
from benchflow.ordering.proof.begun_steps import is_hidden
from benchflow.ordering.proof.partial_order import PartialOrder
from benchflow.ordering.proof.proof_findings import OrderFinding, finding
from benchflow.ordering.proof.remedy_findings import redone_steps
from benchflow.ordering.remedy_scope import steps_named
from benchflow.ordering.state_machine import bits
from benchflow.ordering.wording import all_of, quoted_step
from benchflow.procedure.evidence import NEVER, waive_in_force
from benchflow.procedure.expand import resolve
from benchflow.procedure.model import remedies_of
from benchflow.procedure.plan import Plan, Step, TimeWindow
from benchflow.quantity.arithmetic import base


def windows_without_way_back(plan: Plan, order: PartialOrder) -> Iterator[OrderFinding]:
    """A finding for each window with an upper end whose earlier operation cannot be done again, once per operation."""
    seen: set[tuple[str, str]] = set()
    for step, window in _windows_that_close(plan):
        earlier = plan.steps[window.operation]
        key = step.operation.id, earlier.operation.id
        without = _without_undo(plan, order, step, earlier)
        if key in seen or not without:
            continue
        seen.add(key)
        yield _no_way_back(plan, step, window, without)


def remedies_into_closed_windows(plan: Plan, order: PartialOrder) -> Iterator[OrderFinding]:
    """A finding for each remedy that redoes a step whose time window has closed by then, and nothing opens it again.

    The shortest time is what the operations between take, and the `wait` of the remedy.
    """
    windows = dict[str, list[TimeWindow]]()
    for step, window in _windows_that_close(plan):
        windows.setdefault(step.id, []).append(window)
    for step in plan.steps.values() if windows else ():
        if is_hidden(step.id):
            continue
        for redo in redone_steps(plan, step):
            again = sum(1 << order.index[name] for name in steps_named(plan, step, redo.remedy) if name in order.index)
            for window in windows.get(redo.redo.id, ()):
                earlier = order.index[window.operation]
                if (again >> earlier & 1) or order.before[earlier] & again:
                    continue  # what the time counts from is done again too
                between = [n for n in bits(order.before[order.index[step.id]]) if order.before[n] >> earlier & 1]
                wait = redo.remedy.wait
                spent = sum(plan.steps[order.steps[n]].takes for n in between) + (float(base(wait)) if wait else 0)
                if window.high is None or spent <= window.high:
                    continue
                name = plan.steps[window.operation].operation.id
                message = (
                    f"A remedy for `{redo.value}` redoes {quoted_step(plan, redo.redo.id)}, which has a time window "
                    f"({window.text}) since {quoted_step(plan, window.operation)}. It has closed by then: at least "
                    f"{rounded_duration(spent)} have passed. Add `{name}` to `redo`"
                )
                found = finding("missing-undo", redo.where, redo.mark, message, options=dict(plan.options))
                yield replace(found, severity="warning")


def _windows_that_close(plan: Plan) -> Iterator[tuple[Step, TimeWindow]]:
    """The windows with an upper end whose clock nothing in the procedure starts again."""
    restarted = set(plan.restarters)
    for move in plan.procedure.moves:
        restarted.update(name for ref in move.restarts for name in resolve(plan, ref.name))
    for step in plan.steps.values():
        for remedy in _remedies(plan, step):
            restarted.update(name for ref in remedy for name in resolve(plan, ref, step))
    for step in plan.steps.values():
        for window in step.time:
            known = window.operation in plan.steps and not is_hidden(step.id)
            if window.high is not None and known and window.operation not in restarted:
                yield step, window


def _remedies(plan: Plan, step: Step) -> Iterator[tuple[str, ...]]:
    for remedy in remedies_of(step.operation):
        if remedy.restarts:
            yield tuple(ref.name for ref in remedy.restarts)


def _without_undo(plan: Plan, order: PartialOrder, step: Step, earlier: Step) -> list[Step]:
    """The steps without `undo` that have to be undone to do ``earlier`` again: itself, and what comes between."""
    here, first = order.index[step.id], order.index[earlier.id]
    between = [n for n in bits(order.before[here]) if order.before[n] >> first & 1]
    steps = [earlier, *(plan.steps[order.steps[n]] for n in between)]
    return [one for one in steps if one.operation.undo is None and not is_hidden(one.id)]


def _no_way_back(plan: Plan, step: Step, window: TimeWindow, without: list[Step]) -> OrderFinding:
    ids = list(dict.fromkeys(f"`{one.operation.id}`" for one in without))
    earlier = plan.steps[window.operation].operation.id
    never = waive_in_force(plan.procedure, step.operation, window.waive) == NEVER
    left = "nothing can be done about it" if never else "only a signed deviation is left"
    have = "has" if len(ids) == 1 else "have"
    message = (
        f"{quoted_step(plan, step.id)} has a time window ({window.text}) since {quoted_step(plan, window.operation)}. "
        f"Once it has closed, {left}, because {all_of(ids)} {have} no `undo`. Write how it is taken back, such as "
        f"`undo: {{do: ...}}` under {all_of(ids)}, or `restarts: [{earlier}]` on what starts that time again"
    )
    found = finding("missing-undo", step.operation.id, window.mark, message, options=dict(plan.options))
    return replace(found, severity="warning") if never else found
