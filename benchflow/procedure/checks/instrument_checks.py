"""Whether the instruments that a procedure asks for can do what they are named for, and prove what they have to."""

from fractions import Fraction

from benchflow.procedure.keys.setup_keys import limit_dimension
from benchflow.procedure.model import Fixed, InstrumentNeed, Mark, Operation, Procedure, RecordedValue, TorqueStage
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import YamlSequence
from benchflow.quantity import Limit, Quantity, base, difference_factor, dimension_of, position, show


def check_instruments(procedure: Procedure, notes: ReadContext) -> None:
    """Warn of a stage or a limit beyond what the instrument has to cover, and of one of another kind."""
    known = {need.id: need for need in procedure.instruments}
    needs = {name: need for name, need in known.items() if need.covers is not None}
    for operation in procedure.operations:
        for record in operation.record:
            if record.instrument in needs:
                _record(record, needs[record.instrument], notes)
            if record.decision == "guarded" and record.bound is not None:
                _provable(record, known.get(record.instrument or ""), notes)
        if operation.tighten is not None and operation.tighten.instrument in needs:
            _stages(operation, needs[operation.tighten.instrument], notes)


def _record(record: RecordedValue, need: InstrumentNeed, notes: ReadContext) -> None:
    covers = need.covers
    if covers is None:
        return
    if limit_dimension(covers) != record.dimension:
        what = record.dimension or "a bare number"
        message = f"`{record.name}` is {what}, and `{need.id}` covers {covers.text}"
        notes.problem("instrument-does-not-fit", record.mark, message, "is the right instrument named?", "warning")
        return
    if isinstance(record.bound, Fixed):
        for end in (record.bound.limit.low, record.bound.limit.high):
            _within(end, covers, need, record.mark, notes)


def _provable(record: RecordedValue, need: InstrumentNeed | None, notes: ReadContext) -> None:
    """Under the guarded rule (ISO 14253-1:2017) a reading of unknown uncertainty proves nothing, nor does one whose
    guard bands of 1.65 u, 0.825 U at k = 2, meet in the middle of the limit."""
    if record.instrument is None:
        message = f"`{record.name}` is judged guarded, and nothing says how sure a reading is: none is proven in"
        notes.problem("cannot-prove", record.mark, message, "name one (`with`), or `decision: simple`", "warning")
        return
    largest = None if need is None or need.uncertainty is None else need.uncertainty.high
    bound = record.bound
    if largest is None or not isinstance(bound, Fixed) or dimension_of(largest.unit) == "fraction":
        return
    low, high = bound.limit.low, bound.limit.high
    if low is None or high is None or dimension_of(largest.unit) != record.dimension:
        return
    guard = Fraction(825, 1000) * Fraction(largest.value) * difference_factor(largest.unit)
    if 2 * guard > base(high) - base(low):
        message = f"an instrument no surer than is asked for, {show(largest)}, proves no reading within {bound.text}"
        notes.problem("cannot-prove", record.mark, message, "ask for a finer instrument", "warning")


def _stages(operation: Operation, need: InstrumentNeed, notes: ReadContext) -> None:
    tighten, covers = operation.tighten, need.covers
    if tighten is None or covers is None:
        return
    node = notes.nodes.get(("stages", tighten.mark))
    items = node.items if isinstance(node, YamlSequence) else []
    if len(items) != len(tighten.stages):
        return
    for stage, item in zip(tighten.stages, items, strict=True):
        if isinstance(stage, TorqueStage):
            _within(stage.torque, covers, need, item.mark, notes)


def _within(wanted: Quantity | None, covers: Limit, need: InstrumentNeed, mark: Mark, notes: ReadContext) -> None:
    if wanted is None or not wanted.value:  # nothing is read at nought
        return
    if dimension_of(wanted.unit) != limit_dimension(covers) or position(covers, wanted) == "in":
        return
    notes.problem(
        "instrument-does-not-fit",
        mark,
        f"{show(wanted)} is beyond what `{need.id}` has to cover, {covers.text}",
        "let it cover more, or name another instrument",
        severity="warning",
    )
