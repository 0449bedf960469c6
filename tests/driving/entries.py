"""Generates the entries of an operation, each within its limits, so that a test can build a whole procedure."""

from collections.abc import Iterator
from decimal import Decimal

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import AboveReading, CheckStage, EqualWithin, Fixed, OpenStage, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import Limit, convert
from benchflow.session.rules.choice_tables import table_proposal
from benchflow.session.rules.joint_progress import joint_of, stage_order
from benchflow.session.rules.open_items import required_lots
from benchflow.session.rules.part_matching import proposed_parts
from benchflow.session.rules.verdicts import limit_of
from benchflow.session.state.state import State
from tests.driving.session_driver import Intent


def value_inside(limit: Limit, unit: str) -> str:
    """A value well inside ``limit``, with its unit: the middle of a limit with two ends."""
    low = None if limit.low is None else convert(limit.low, unit).value
    high = None if limit.high is None else convert(limit.high, unit).value
    if low is not None and high is not None:
        value = (low + high) / 2
    elif high is not None:
        value = high / 2
    else:
        assert low is not None  # a limit has at least one end
        value = low * Decimal("1.5") if low > 0 else low + 1
    return f"{value.normalize():f} {unit}"


def value_beyond(limit: Limit, unit: str, side: str) -> str:
    """A value out of ``limit`` on that side (below, above), with its unit. The limit has an end there."""
    end = limit.low if side == "below" else limit.high
    assert end is not None
    value = convert(end, unit).value
    step = max(abs(value) / 10, Decimal("0.01"))
    return f"{(value - step if side == 'below' else value + step).normalize():f} {unit}"


PRESET_READINGS = {
    # Angles of an invented camshaft: the calculated durations and centrelines are within their limits.
    "gap-one": "0.25 mm",
    "gap-four": "0.25 mm",
    "opens[intake]": "6°",
    "closes[intake]": "42°",
    "opens[exhaust]": "44°",
    "closes[exhaust]": "0°",
}
"""Readings whose calculated values are within their limits. Readings in the middle of each limit are not enough."""


PRESET_SLOTS = {"spare A": "2.58 mm", "spare B": "2.44 mm"}
"""Spare shims, thick enough and thin enough for a lash that is out of its limit."""


def valid_reading(state: State, record: RecordedValue, slot: str = "") -> str:
    """A reading that is within the limit of ``record``."""
    if slot in PRESET_SLOTS:
        return PRESET_SLOTS[slot]
    if record.name in PRESET_READINGS:
        return PRESET_READINGS[record.name]
    match record.bound:
        case Fixed(limit):
            return value_inside(limit, record.unit)
        case AboveReading() as bound:
            raised = limit_of(state, bound, record.unit)
            assert raised is not None  # the reading that the limit refers to is entered first
            return value_inside(raised, record.unit)
        case EqualWithin(spread):
            return f"{convert(spread, record.unit).value:f} {record.unit}"
        case _:
            return f"1 {record.unit}".strip()


def entries(state: State, step: Step) -> Iterator[Intent]:
    """Every entry that ``step`` asks for, in the order of its inputs."""
    operation = step.operation
    for name in required_lots(state, step):
        yield {"intent": "lot", "consumable": name, "lot": "A-0042"}
    for record in operation.record:
        for slot in record.slots:
            key = "place" if record.by_place else "reading"
            yield {"intent": "record", "name": record.name, key: slot, "value": valid_reading(state, record, slot)}
    if operation.tighten is not None:
        joint = joint_of(state, operation.tighten.joint)
        for number, stage in enumerate(operation.tighten.stages, 1):
            if isinstance(stage, OpenStage) and not stage.formula:
                yield {"intent": "figure", "joint": joint.id, "stage": number, "value": "60 N·m", "from": "bulletin 4"}
        for stage in operation.tighten.stages:
            value = value_inside(stage.limit, "N·m") if isinstance(stage, CheckStage) else None
            for fastener in stage_order(joint, stage):
                tick: Intent = {"intent": "tick", "joint": joint.id, "fastener": fastener}
                yield tick if value is None else tick | {"value": value}
    for number in range(1, len(operation.check) + 1):
        yield {"intent": "tick-check", "operation": step.id, "check": number}


def choices(state: State, step: Step) -> Iterator[Intent]:
    """The entries that choose the parts proposed for ``step``. All its readings must be recorded already."""
    for table in step.operation.choose:
        yield {"intent": "choose", "name": table.name, "take": table_proposal(state, step, table).takes[0]}
    for match in step.operation.match:
        for place, part in proposed_parts(state, step, match)[0].items():
            yield {"intent": "choose", "name": str(ValueRef(match.name, place)), "take": part}
