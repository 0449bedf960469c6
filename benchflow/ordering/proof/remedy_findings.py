"""Finds remedies whose `redo` cannot be done from where they are called, and temporary settings never restored."""

from collections.abc import Iterator
from typing import NamedTuple

from benchflow.ordering.proof.finding_messages import order_text
from benchflow.ordering.proof.precedence import Precedence, work_before_last
from benchflow.ordering.proof.proof_findings import OrderFinding, finding
from benchflow.ordering.proof.witness import Undecided, Witness
from benchflow.ordering.rework import NoRework, UndoBlocked, obstacle_text, plan_rework, with_dependents
from benchflow.ordering.wording import step_title
from benchflow.procedure.expand import resolve
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import Mark, RecordedValue, values_of
from benchflow.procedure.plan import Plan, Step


class RedoOfRemedy(NamedTuple):
    """One step that a remedy of ``step`` redoes. ``where`` is the place of the remedy in the file."""

    step: Step
    redo: Step
    value: str
    where: str
    mark: Mark


def unreachable_remedies(precedence: Precedence) -> Iterator[OrderFinding]:
    """A finding for each operation in a `redo` that is not done before, has no `undo`, or cannot be undone there."""
    plan = precedence.analysis.plan
    for step in plan.steps.values():
        if not precedence.is_done(step.id):
            continue
        for each in redone_steps(plan, step):
            found = _finding_on(precedence, each)
            if found is not None:
                yield found


def redone_steps(plan: Plan, step: Step) -> Iterator[RedoOfRemedy]:
    """The steps that the remedies of a step redo. An operation that names itself is left out."""
    for value in values_of(step.operation):
        kind = "record" if isinstance(value, RecordedValue) else "work-out"
        for side, remedies in (("below", value.below), ("above", value.above)):
            for number, remedy in enumerate(remedies, 1):
                where = f"{step.operation.id}.{kind}.{ValueRef.parse(value.name).name}.{side}[{number}].redo"
                for ref in remedy.redo:
                    redo = plan.steps.get(ref.name)
                    if redo is not None and redo.operation.id != step.operation.id:
                        yield RedoOfRemedy(step, redo, value.name, where, ref.mark)


def _finding_on(precedence: Precedence, each: RedoOfRemedy) -> OrderFinding | None:
    plan = precedence.analysis.plan
    options = dict(plan.options)
    title, measuring = each.redo.title, each.step.title
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
    to = precedence.order_to(each.step.id)
    return _blocked_undo(plan, each, to) if isinstance(to, Witness) else None


def _blocked_undo(plan: Plan, each: RedoOfRemedy, to: Witness) -> OrderFinding | None:
    """A finding if the operation cannot be undone after the order ``to``, whatever moves are made."""
    history = work_before_last(plan, to)
    undone = with_dependents(plan, history, [each.redo.id])
    if any(plan.steps[name].operation.undo is None for name in undone):
        return None  # the rework planner has no way to undo it, but a remedy reopens it
    found = plan_rework(plan, history, each.redo.id)
    if not isinstance(found, NoRework):
        return None
    blocked = [reason for reason in found.reasons if isinstance(reason, UndoBlocked)]
    if not blocked:
        return None
    message = (
        f"A remedy for `{each.value}` redoes “{each.redo.title}”, but after {order_text(plan, to.order)} no moves make "
        f"that possible. {obstacle_text(plan, blocked[0])}. Add a move, or correct `undo.needs`"
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
        names = resolve(plan, restored.name, step.place, step.operation.each)
        if not names:
            message = (
                f"The setting of “{step.title}” is temporary, but `{restored.name}`, which restores it, is not part of "
                "this build. Leave out both (`when`), or restore it in another operation"
            )
            yield finding("never-restored", where, restored.mark, message, options=options)
        for name in names:
            if plan.steps[name].operation.undo is not None or name == step.id or not precedence.is_done(name):
                continue  # it can be done again after the setting
            witness = precedence.order_without(step.id, name)
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
