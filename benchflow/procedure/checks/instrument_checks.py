"""Checks of instruments: range and dimension for what they measure, and uncertainty for the guarded decision rule."""

from collections.abc import Mapping
from fractions import Fraction

from benchflow.base.plaintext import with_article
from benchflow.procedure.keys.setup_keys import limit_dimension
from benchflow.procedure.model import Fixed, InstrumentNeed, Mark, Operation, Procedure, RecordedValue, TorqueStage
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import YamlSequence
from benchflow.quantity import Limit, Quantity, base_of_difference, dimension_of, interval, position, show

_NARROWEST = Fraction("1.9599")
"""The width in expanded uncertainties (k = 2) below which no value is within a limit with a probability of 95 %.

Source: quantile of the normal distribution, 1.95996."""


def check_instruments(procedure: Procedure, context: ReadContext) -> None:
    """Warn of instruments that do not cover a stage or limit, or cannot prove a value to be within its limit."""
    known = procedure.instruments_by_id
    needs = {name: need for name, need in known.items() if need.covers is not None}
    for operation in procedure.operations:
        for record in (one for value in operation.record for one in _each_reading(value)):
            for name in record.instruments:
                if name in needs:
                    _check_range(record, needs[name], context, alone=len(record.instruments) == 1)
            for one in record.by_limit if record.decision == "guarded" else ():
                if one.bound is not None:
                    _check_provable(one, known, context)
        if operation.tighten is not None and operation.tighten.instrument in needs:
            _check_stages_in_range(operation, needs[operation.tighten.instrument], context)


def _each_reading(record: RecordedValue) -> tuple[RecordedValue, ...]:
    """The value with the terms of each reading, if they vary."""
    return tuple(record.at(slot) for slot in record.by_reading) or (record,)


def _check_range(record: RecordedValue, need: InstrumentNeed, context: ReadContext, *, alone: bool) -> None:
    """Check what an instrument covers. Beside another one it may be of another kind than the value."""
    covers = need.covers
    if covers is None:
        return
    if limit_dimension(covers) != record.dimension and not alone:
        return
    if limit_dimension(covers) != record.dimension:
        what = with_article(record.dimension) if record.dimension else "a number without a unit"
        message = f"`{record.name}` is {what}, but `{need.id}` covers {covers.text}"
        context.problem("instrument-does-not-fit", record.mark, message, "Check the name of the instrument", "warning")
        return
    if isinstance(record.bound, Fixed):
        limit = record.bound.limit
        for end in (limit.low, limit.high) if limit.nominal is None else (limit.nominal,):
            _check_within(end, covers, need, record.mark, context)


def _check_provable(record: RecordedValue, known: Mapping[str, InstrumentNeed], context: ReadContext) -> None:
    """Warn if no reading can be proven within its limit under the guarded rule (ISO 14253-1:2017).

    No reading can if the value has no instrument, or if even the middle of the limit is within it with a probability
    below 95 %. An uncertainty in percent is that of the lower end of the limit.
    """
    if record.instrument is None:
        message = (
            f"`{record.name}` has `decision: guarded` but no instrument, so no reading can be proven within its limit"
        )
        context.problem(
            "cannot-prove",
            record.mark,
            message,
            "Name an instrument with `with`, or write `decision: simple`",
            "warning",
        )
        return
    needs = [known[name] for name in record.instruments if name in known]
    for need in needs:
        if _check_uncertainty(record, need, context):
            break  # one warning is enough


def _check_uncertainty(record: RecordedValue, need: InstrumentNeed, context: ReadContext) -> bool:
    """Warn if the uncertainty of one instrument is too large. Returns true if it is."""
    largest = None if need.uncertainty is None else need.uncertainty.high
    bound = record.bound
    if largest is None or not isinstance(bound, Fixed) or record.judge in ("mean", "spread"):
        return False
    within = interval(bound.limit)
    if within.low is None or within.high is None:
        return False
    if dimension_of(largest.unit) == "fraction":
        if record.dimension == "temperature" or within.low <= 0:
            return False
        expanded = within.low * base_of_difference(largest)
    elif dimension_of(largest.unit) == record.dimension:
        expanded = base_of_difference(largest)
    else:
        return False
    if within.high - within.low < _NARROWEST * expanded:
        message = f"With an uncertainty of {show(largest)}, no reading can be proven within {bound.text}"
        context.problem(
            "cannot-prove", record.mark, message, "Name an instrument with a smaller uncertainty", "warning"
        )
        return True
    return False


def _check_stages_in_range(operation: Operation, need: InstrumentNeed, context: ReadContext) -> None:
    tighten, covers = operation.tighten, need.covers
    if tighten is None or covers is None:
        return
    node = context.nodes.get(("stages", tighten.mark))
    items = node.items if isinstance(node, YamlSequence) else []
    if len(items) != len(tighten.stages):
        return
    for stage, item in zip(tighten.stages, items, strict=True):
        if isinstance(stage, TorqueStage):
            _check_within(stage.torque, covers, need, item.mark, context)


def _check_within(
    wanted: Quantity | None, covers: Limit, need: InstrumentNeed, mark: Mark, context: ReadContext
) -> None:
    if wanted is None or not wanted.value:  # zero needs no range
        return
    if dimension_of(wanted.unit) != limit_dimension(covers) or position(covers, wanted) == "within":
        return
    context.problem(
        "instrument-does-not-fit",
        mark,
        f"{show(wanted)} is outside the range of `{need.id}`, {covers.text}",
        "Widen `covers`, or name another instrument",
        severity="warning",
    )
