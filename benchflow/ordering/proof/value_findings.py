"""Finds values that are not there where a formula, a choice, a matching or a relative limit needs them."""

from collections.abc import Iterator
from typing import NamedTuple

from benchflow.ordering.proof.finding_messages import order_text
from benchflow.ordering.proof.precedence import Precedence
from benchflow.ordering.proof.proof_findings import OrderFinding, finding
from benchflow.ordering.proof.witness import Undecided, Witness
from benchflow.ordering.wording import all_of, step_title
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import AboveReading, Mark, Operation, Procedure, RecordedValue, values_of
from benchflow.procedure.plan import Plan, Step


class ValueUse(NamedTuple):
    """The use of a value: ``user`` needs ``ref``. ``where`` is the place in the file."""

    user: str
    ref: ValueRef
    where: str
    mark: Mark


def absent_values(precedence: Precedence, reported: set[tuple[str, str, bool]]) -> Iterator[OrderFinding]:
    """A finding for each use of a value that is not there in this build, or not in every order.

    ``reported`` are the uses that other builds have reported: place, name, and if there is an order that shows it. New
    ones are added.
    """
    plan = precedence.analysis.plan
    for step in plan.steps.values():
        if not precedence.is_done(step.id):
            continue
        for use in value_uses(plan, step):
            found = _finding_on(precedence, step, use)
            key = use.where, use.ref.name, found is not None and isinstance(found.order, tuple)
            if found is not None and key not in reported:
                reported.add(key)
                yield found


def _finding_on(precedence: Precedence, step: Step, use: ValueUse) -> OrderFinding | None:
    plan = precedence.analysis.plan
    sources = steps_with_value(plan, use.ref)
    if not sources:
        return _not_in_build(plan, step, use)
    for source in sources:
        if source.id != step.id:
            witness = precedence.order_without(source.id, step.id)
            if witness is not None:
                return _not_before(plan, step, source, use, witness)
    return None


def value_uses(plan: Plan, step: Step) -> Iterator[ValueUse]:
    """Every use of a value in a step, each value once for each user."""
    operation = step.operation
    for work_out in operation.work_out:
        from benchflow.procedure.formula import names  # late import: most procedures have no formula

        sizes = {match.name for match in operation.match if match.so_that == work_out.name}
        where = f"{operation.id}.work-out.{_plain(work_out.name)}"
        used = (ValueRef(ref.name, ref.place) for ref in names(plan.formula(work_out)) if ref.name not in sizes)
        for ref in dict.fromkeys(one for name in used for one in plan.refs(name)):
            yield ValueUse(work_out.name, ref, f"{where}.is", work_out.mark)
    for value in values_of(operation):
        kind = "record" if isinstance(value, RecordedValue) else "work-out"
        for key in ("bound", "used"):
            bound = getattr(value, key, None)
            if isinstance(bound, AboveReading):
                limit = "limit" if key == "bound" else "used"
                where = f"{operation.id}.{kind}.{_plain(value.name)}.{limit}"
                yield ValueUse(value.name, plan.ref(bound.name), where, value.mark)
    for choose in operation.choose:
        where = f"{operation.id}.choose.{_plain(choose.name)}.by"
        yield ValueUse(choose.name, plan.ref(choose.by), where, choose.mark)
    for match in operation.match:
        where = f"{operation.id}.match.{_plain(match.name)}"
        yield ValueUse(match.name, ValueRef.parse(match.so_that), f"{where}.so that", match.mark)
        if match.measured not in plan.procedure.kit_by_id:
            yield ValueUse(match.name, ValueRef.parse(match.measured), f"{where}.measured", match.mark)


def steps_with_value(plan: Plan, ref: ValueRef) -> tuple[Step, ...]:
    """The steps of this build that have a value; several if the value is repeated and ``ref`` has no place."""
    name = str(ValueRef(ref.name, ref.place))
    found = []
    for value in plan.values(name):
        at = plan.record(value.name) or plan.work_out(value.name)
        if at is not None:
            found.append(at.step)
    return tuple(found)


def _plain(name: str) -> str:
    return ValueRef.parse(name).name


def _not_in_build(plan: Plan, step: Step, use: ValueUse) -> OrderFinding:
    name = use.ref.name
    source = operation_with_value(plan.procedure, name)
    title = f"“{source.title}”" if source is not None else "its operation"
    options = {option for operation in (step.operation, source) if operation is not None for option in operation.when}
    build = all_of(f"{option} is {plan.options[option]}" for option in plan.options if option in options)
    message = (
        f"`{use.user}` in “{step.title}” needs `{name}`. But {title} is not part of the build"
        f"{f' where {build}' if build else ''}. Measure it in that build too, or leave out what needs it (`when`)"
    )
    return finding("value-absent", use.where, use.mark, message, options=dict(plan.options))


def _not_before(plan: Plan, step: Step, source: Step, use: ValueUse, witness: Witness | Undecided) -> OrderFinding:
    name, title = str(ValueRef(use.ref.name, use.ref.place)), step_title(plan, source.id)
    advice = f"Add `{source.operation.id}` to `after` of `{step.operation.id}`"
    if isinstance(witness, Undecided):
        message = (
            f"It is not proven that `{name}`, which `{use.user}` in “{step.title}” needs, is there in every order, "
            f"because there are too many orders to try. {advice}"
        )
        return finding("not-explored", use.where, use.mark, message, options=dict(plan.options))
    message = (
        f"`{use.user}` in “{step.title}” needs `{name}`. But “{title}” is not always done before: an order is "
        f"{order_text(plan, witness.order)}. {advice}"
    )
    order = tuple(action.id for action in witness.order)
    return finding(
        "value-absent", use.where, use.mark, message, order=order, start=witness.start, options=dict(plan.options)
    )


def operation_with_value(procedure: Procedure, name: str) -> Operation | None:
    """The operation that has the value ``name``, without its place; ``None`` if there is none."""
    for operation in procedure.operations:
        if any(value.name == name for value in values_of(operation)):
            return operation
    return None
