"""Finds remedies whose `redo` cannot be done from where they are called, and temporary settings never restored."""

from collections.abc import Iterator
from itertools import product
from typing import NamedTuple

from msgspec.structs import replace

from benchflow.ordering.configuration import Configuration
from benchflow.ordering.interlock import reason_text
from benchflow.ordering.proof.begun_steps import at_the_bench, is_hidden, order_at_the_bench
from benchflow.ordering.proof.finding_messages import order_text
from benchflow.ordering.proof.order_completion import Witness
from benchflow.ordering.proof.precedence import Precedence, work_before_last
from benchflow.ordering.proof.proof_findings import OrderFinding, finding
from benchflow.ordering.proof.witness import Undecided
from benchflow.ordering.remedy_scope import steps_called, steps_named, taken_back
from benchflow.ordering.rework import (
    NoRework,
    ReworkPlan,
    SearchLimitReached,
    UndoBlocked,
    obstacle_text,
    plan_rework,
    with_dependents,
    work_after,
)
from benchflow.ordering.route import NoRoute, SafeRoute, route
from benchflow.ordering.wording import all_of, step_title
from benchflow.ordering.work_meter import WorkMeter
from benchflow.procedure.evidence import NEVER
from benchflow.procedure.expand import operation_as_written, resolve
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import Mark, Operation, RecordedValue, Remedy, stage_remedies, values_of
from benchflow.procedure.plan import Plan, Step


class RedoOfRemedy(NamedTuple):
    """One step that a remedy of ``step`` redoes. ``where`` is the place of the remedy in the file."""

    step: Step
    redo: Step
    remedy: Remedy
    value: str
    where: str
    mark: Mark


def unreachable_remedies(precedence: Precedence, proven: set[tuple[object, ...]]) -> Iterator[OrderFinding]:
    """A finding for each operation in a `redo` that is not done before, has no `undo`, or cannot be undone there.

    ``proven`` holds what was proven for other builds, so that equal work is not proven again. It is added to.
    """
    plan = precedence.analysis.plan
    for step in plan.steps.values():
        if is_hidden(step.id) or not precedence.is_done(step.id):
            continue
        yield from _redo_by_itself(plan, step)
        for each in redone_steps(plan, step):
            found = _finding_on(precedence, each, proven)
            if found is not None:
                yield found


def _remedies_of(operation: Operation) -> Iterator[tuple[str, str, Remedy]]:
    """The remedies of an operation, each with its value, joint or check and its place in the file."""
    for value in values_of(operation):
        kind = "record" if isinstance(value, RecordedValue) else "work-out"
        owner = f"{operation.id}.{kind}.{ValueRef.parse(value.name).name}"
        limits = [(owner, value.below, value.above)]
        if isinstance(value, RecordedValue):
            limits += [(f"{owner}.also[{n}]", limit.below, limit.above) for n, limit in enumerate(value.also, 1)]
        for where, below, above in limits:
            for side, remedies in (("below", below), ("above", above)):
                for number, remedy in enumerate(remedies, 1):
                    yield value.name, f"{where}.{side}[{number}].redo", remedy
    for index, point in enumerate(operation.check, 1):
        for number, remedy in enumerate(point.if_not, 1):
            yield point.id or point.text, f"{operation.id}.check[{index}].if not[{number}].redo", remedy
    tighten = operation.tighten
    if tighten is None:
        return
    for index, stage in enumerate(tighten.stages, 1):
        for side, remedies in stage_remedies(stage):
            for number, remedy in enumerate(remedies, 1):
                yield tighten.joint, f"{operation.id}.tighten.stages[{index}].{side}[{number}].redo", remedy


def redone_steps(plan: Plan, step: Step) -> Iterator[RedoOfRemedy]:
    """The steps that the remedies of a step redo. An operation that names itself is left out."""
    for value, where, remedy in _remedies_of(step.operation):
        for ref in remedy.redo:
            redo = plan.steps.get(ref.name)
            if redo is not None and redo.operation.id != step.operation.id:
                yield RedoOfRemedy(step, redo, remedy, value, where, ref.mark)


def _redo_by_itself(plan: Plan, step: Step) -> Iterator[OrderFinding]:
    """A finding for each `redo` of nothing in this build, or of the operation itself without a needed `undo`."""
    operation, options = step.operation, dict(plan.options)
    as_written = _remedies_of(operation_as_written(plan, step))
    for (value, where, remedy), (_, _, written) in zip(_remedies_of(operation), as_written, strict=True):
        if not written.redo:
            continue
        mark, named = written.redo[0].mark, steps_named(plan, step, remedy)
        if not named:
            ids = all_of([f"`{ref.name}`" for ref in written.redo])
            message = (
                f"A remedy for `{value}` redoes {ids}, but no such operation is part of the build"
                f"{_build(plan, step, written)}: the remedy would redo nothing. Write a `redo` that is there in that "
                "build too, or give both operations the same `when`"
            )
            yield finding("unreachable-remedy", where, mark, message, options=options)
        lasting = _what_it_leaves(plan, step)
        if step.id in named and operation.undo is None and lasting:
            message = (
                f"A remedy for `{value}` redoes “{step.title}” itself, which {lasting}, but has no `undo`: the "
                f"procedure does not say how that is taken back. Write `undo` for `{operation.id}`"
            )
            yield finding("unreachable-remedy", where, mark, message, options=options)


def _build(plan: Plan, step: Step, remedy: Remedy) -> str:
    """`` where cams is stock``: the options that the operations of a remedy depend on; empty if there are none."""
    by_id = plan.procedure.operations_by_id
    operations = [step.operation, *(by_id[ref.name] for ref in remedy.redo if ref.name in by_id)]
    options = {option for operation in operations for option in operation.when}
    build = all_of(f"{option} is {plan.options[option]}" for option in plan.options if option in options)
    return f" where {build}" if build else ""


def _what_it_leaves(plan: Plan, step: Step) -> str:
    """What has to be taken back before the step is done again, as the end of a sentence; empty if nothing has to be."""
    kit = plan.procedure.kit_by_id
    if step.sets:
        return f"sets {all_of([f'`{name}`' for name in step.sets])}"
    used = [ref.name for ref in step.operation.uses if ref.name in kit]
    parts = [f"`{name}`" for name in used if kit[name].lot_required or kit[name].discard]
    return f"uses up {all_of(parts)}" if parts else ""


def _finding_on(precedence: Precedence, each: RedoOfRemedy, proven: set[tuple[object, ...]]) -> OrderFinding | None:
    plan = precedence.analysis.plan
    options = dict(plan.options)
    title, measuring = each.redo.title, each.step.title
    if plan.is_callable(each.redo.id):
        return _cannot_be_called_again(precedence, each)
    if each.redo.operation.undo is None:
        message = (
            f"A remedy for `{each.value}` redoes “{title}”, which has no `undo`: the procedure does not say how it is "
            f"taken back. Write `undo` for `{each.redo.operation.id}`, or leave it out of `redo`"
        )
        return finding("unreachable-remedy", each.where, each.mark, message, options=options)
    without = precedence.order_without(each.redo.id, each.step.id)
    if isinstance(without, Undecided):
        message = (
            f"It is not proven that “{title}” is always done before “{measuring}”, whose remedy redoes it, because "
            "there are too many orders to try"
        )
        return finding("not-explored", each.where, each.mark, message, options=options)
    if without is not None:
        message = (
            f"A remedy for `{each.value}` redoes “{title}”, which is not always done before “{measuring}”: an order is "
            f"{order_text(plan, without.order)}. Add `{each.redo.operation.id}` to `after` of "
            f"`{each.step.operation.id}`, or leave it out of `redo`"
        )
        return _with_order(each, message, without, options)
    lost = _taken_back_without_undo(precedence, each)
    if lost is not None:
        return lost
    if not _undo_concerns_a_state(precedence, each.redo):
        return None
    key = each.redo.id, each.step.id, *precedence.orders_key(each.step.id)
    if key in proven:
        return None
    to = precedence.order_to(each.step.id)
    if isinstance(to, Undecided):
        return _undo_not_proven(each, options)
    if to is None:
        return None
    plan, to = at_the_bench(plan), order_at_the_bench(to)
    found = _undo_after(plan, each.redo, to, precedence.work)
    if isinstance(found, ReworkPlan):
        ended = _cannot_be_done_again(plan, each, to, found, precedence.work)
        if ended is not None:
            return ended
        proven.add(key)
    if not isinstance(found, NoRework):
        return None
    if any(isinstance(reason, SearchLimitReached) for reason in found.reasons):
        return _undo_not_proven(each, options)
    return _blocked_undo(plan, each, to, found)


def _cannot_be_called_again(precedence: Precedence, each: RedoOfRemedy) -> OrderFinding | None:
    """A finding if an operation that is done if needed cannot be done once more, after it was done for a first call.

    What the same remedy calls for is done once more together.
    """
    plan = precedence.analysis.plan
    together = [name for name in steps_called(plan, each.step, each.remedy) if name in plan.steps]
    if _most_calls(plan, each.redo.id) < 2 or each.redo.id != together[0]:
        return None
    to = precedence.order_to(each.step.id)
    if to is None:
        return None
    if isinstance(to, Undecided):
        return _undo_not_proven(each, dict(plan.options))
    plan, to = at_the_bench(plan), order_at_the_bench(to)
    left = work_before_last(plan, to)
    valuation = {name: past[-1].value for name, past in left.writes.items()}
    done = frozenset(name for name in left.finished if name not in together)
    # The operation with the remedy is in progress: it only waits for the called work.
    waiting = replace(plan.steps[each.step.id], after=tuple(together), needs={}, during={}, sets={}, time=())
    steps = {**plan.steps, waiting.id: waiting}
    again = route(replace(plan, steps=steps), Configuration(done, valuation), waiting.id, work=precedence.work)
    if isinstance(again, SafeRoute):
        return None
    if not again.certain:
        return _undo_not_proven(each, dict(plan.options))
    reason = reason_text(plan, again.reasons[0]) if again.reasons else "It is blocked"
    message = (
        f"A remedy for `{each.value}` calls for “{each.redo.title}”, but after {order_text(plan, to.order)} it cannot "
        f"be done a second time. {reason}. Add a move, or correct `sets` of `{each.redo.operation.id}`"
    )
    return _with_order(each, message, to, dict(plan.options))


def _most_calls(plan: Plan, step_id: str) -> int:
    """How often remedies can call for a step at most. A remedy with a new part (`fresh`) can be tried again."""
    count = 0
    for step in plan.steps.values():
        for value, _, remedy in _remedies_of(step.operation):
            if step_id in steps_called(plan, step, remedy):
                record = step.record(value)
                readings = 1 if record is None else len(record.slots)
                count += 2 if remedy.fresh else remedy.tries * readings
    return count


def _undo_not_proven(each: RedoOfRemedy, options: dict[str, str]) -> OrderFinding:
    message = (
        f"It is not proven that “{each.redo.title}”, which a remedy for `{each.value}` redoes, can be taken back from "
        f"“{each.step.title}”, because there are too many orders to try"
    )
    return finding("not-explored", each.where, each.mark, message, options=options)


def _taken_back_without_undo(precedence: Precedence, each: RedoOfRemedy) -> OrderFinding | None:
    """A finding if the remedy takes back another operation, in some order, that has no `undo`."""
    plan = precedence.analysis.plan
    options = dict(plan.options)
    for name in _may_be_taken_back(precedence, each):
        order = precedence.order_with(each.redo.id, name, each.step.id)
        if isinstance(order, Undecided):
            message = (
                f"It is not proven that the remedy for `{each.value}` takes back only operations with `undo`, because "
                "there are too many orders to try"
            )
            return finding("not-explored", each.where, each.mark, message, options=options)
        names = () if order is None else _without_undo(at_the_bench(plan), each, order_at_the_bench(order))
        if order is not None and names:
            other = plan.steps[names[0]]
            depends = precedence.comes_after(other.id, each.redo.id)
            why = "which is done after it" if depends else "which is done later and rests on it"
            message = (
                f"A remedy for `{each.value}` redoes “{each.redo.title}”. That takes back “{other.title}” too, {why} "
                f"and has no `undo`: an order is {order_text(plan, order.order)}. Write `undo` for "
                f"`{other.operation.id}`, or do it after `{each.step.operation.id}`"
            )
            return _with_order(each, message, order, options)
    return None


def _may_be_taken_back(precedence: Precedence, each: RedoOfRemedy) -> Iterator[str]:
    """The steps without `undo` that a remedy may take back: those that may depend on its `redo`, temporary settings."""
    steps = precedence.analysis.plan.steps
    named = steps_named(precedence.analysis.plan, each.step, each.remedy)
    dependents = precedence.may_rest_on(each.redo.id)
    for name, step in steps.items():
        if step.operation.undo is not None or name in named or name == each.step.id or is_hidden(name):
            continue
        possible = name in dependents or step.operation.restored_by is not None
        if possible and not precedence.comes_after(name, each.step.id):
            yield name


def _without_undo(plan: Plan, each: RedoOfRemedy, to: Witness) -> tuple[str, ...]:
    """The steps without `undo` that the remedy takes back after the order ``to``, beside those that it names."""
    history = work_before_last(plan, to)
    named = steps_named(plan, each.step, each.remedy)
    undone = taken_back(plan, history, history.finished, [each.redo.id])
    return tuple(
        name for name in plan.steps if name in undone and name not in named and plan.steps[name].operation.undo is None
    )


def _undo_concerns_a_state(precedence: Precedence, redo: Step) -> bool:
    """True if the `undo` of the step, or of one that may have to be undone before it, needs or sets a state."""
    order, plan = precedence.analysis.order, precedence.analysis.plan
    number = order.index[redo.id]
    return any(
        (step.undo_needs or step.undo_sets)
        and (step is redo or order.before[order.index[name]] >> number & 1 or step.needs.keys() & redo.sets.keys())
        for name, step in plan.steps.items()
    )


def _undo_after(plan: Plan, redo: Step, to: Witness, work: WorkMeter) -> ReworkPlan | NoRework | None:
    """The plan to undo a step after the order ``to``, without its last step; ``None`` if there is no `undo` for it.

    Temporary settings made after the step are undone with it.
    """
    history = work_before_last(plan, to)
    undone = taken_back(plan, history, history.finished, [redo.id])
    if any(plan.steps[name].operation.undo is None for name in undone):
        return None
    return plan_rework(plan, history, redo.id, also=undone - with_dependents(plan, history, [redo.id]), work=work)


def _blocked_undo(plan: Plan, each: RedoOfRemedy, to: Witness, found: NoRework) -> OrderFinding | None:
    """A finding if the operation cannot be undone after the order ``to``, whatever moves are made."""
    blocked = [reason for reason in found.reasons if isinstance(reason, UndoBlocked)]
    if not blocked:
        return None
    message = (
        f"A remedy for `{each.value}` redoes “{each.redo.title}”, but after {order_text(plan, to.order)} no moves make "
        f"that possible. {obstacle_text(plan, blocked[0])}. Add a move, or correct `undo.needs`"
    )
    return _with_order(each, message, to, dict(plan.options))


def _cannot_be_done_again(
    plan: Plan, each: RedoOfRemedy, to: Witness, undo: ReworkPlan, work: WorkMeter
) -> OrderFinding | None:
    """A finding if no order leads from the undone work back to the operation with the remedy.

    A state that is not known after an `undo`, and that somebody may enter as found, can have any value.
    """
    left = work_after(plan, work_before_last(plan, to), undo.steps)
    findable = [
        variable
        for variable in plan.procedure.state
        if left.valuation.get(variable.name) is None and variable.found != NEVER
    ]
    blocked: NoRoute | None = None
    for values in product(*(variable.values for variable in findable)):
        valuation = {**left.valuation, **dict(zip([variable.name for variable in findable], values, strict=True))}
        again = route(plan, Configuration(frozenset(left.finished), valuation), each.step.id, work=work)
        if isinstance(again, SafeRoute) or not again.certain:
            return None
        blocked = blocked or again
    reason = reason_text(plan, blocked.reasons[0]) if blocked is not None and blocked.reasons else "It is blocked"
    message = (
        f"A remedy for `{each.value}` redoes “{each.redo.title}”, but after {order_text(plan, to.order)} and that "
        f"redo, “{each.step.title}” cannot be done again. {reason}. Add a move, or correct `undo.sets`"
    )
    return _with_order(each, message, to, dict(plan.options))


def _with_order(each: RedoOfRemedy, message: str, witness: Witness, options: dict[str, str]) -> OrderFinding:
    order = tuple(action.id for action in witness.order)
    return finding(
        "unreachable-remedy", each.where, each.mark, message, order=order, start=witness.start, options=options
    )


def unrestored_settings(precedence: Precedence) -> Iterator[OrderFinding]:
    """A finding for each temporary setting that some order, or some build, leaves as it is."""
    plan = precedence.analysis.plan
    for step in plan.steps.values():
        restored = step.operation.restored_by
        if restored is None or not precedence.is_done(step.id):
            continue
        where = f"{step.operation.id}.temporary"
        options = dict(plan.options)
        names = resolve(plan, restored.name, step)
        if not names:
            message = (
                f"The setting of “{step.title}” is temporary, but `{restored.name}`, which restores it, is not part of "
                "this build. Leave out both (`when`), or restore it in another operation"
            )
            yield finding("never-restored", where, restored.mark, message, options=options)
        if step.id in names:
            message = (
                f"The setting of “{step.title}” is temporary, but it names itself as what restores it. Name the "
                "operation that is done later and restores it"
            )
            yield finding("never-restored", where, restored.mark, message, options=options)
        for name in names:
            if plan.steps[name].operation.undo is not None or name == step.id or not precedence.is_done(name):
                continue  # it can be done again after the setting
            witness = precedence.order_without(step.id, name)
            if isinstance(witness, Undecided):
                message = (
                    f"It is not proven that “{step_title(plan, name)}” is always done after “{step.title}”, whose "
                    "temporary setting it restores, because there are too many orders to try"
                )
                yield finding("not-explored", where, restored.mark, message, options=options)
            if isinstance(witness, Witness):
                title = step_title(plan, name)
                message = (
                    f"The setting of “{step.title}” is temporary, but “{title}”, which restores it, may be done "
                    f"before: an order is {order_text(plan, witness.order)}. Then nothing restores it. Add "
                    f"`{step.operation.id}` to `after` of `{plan.steps[name].operation.id}`"
                )
                order = tuple(action.id for action in witness.order)
                yield finding(
                    "never-restored", where, restored.mark, message, order=order, start=witness.start, options=options
                )
