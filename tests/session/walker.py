"""Works through any procedure as a script would: takes up what may be done, enters what is asked for, finishes it.

What it enters lies inside the limits, so that a procedure that can be built is built. Everything goes through
intents; nothing here knows how the desk decides.
"""

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

from benchflow.procedure.model import AboveReading, CheckStage, EqualWithin, Fixed, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import Limit, convert
from benchflow.session.rules.joint_progress import joint_of, stage_order
from benchflow.session.rules.open_items import lots_wanted
from benchflow.session.rules.verdicts import limit_of
from benchflow.session.state.state import State

Intent = dict[str, Any]
Send = Callable[[Intent], None]


def middle(limit: Limit, unit: str) -> str:
    """A value well inside a limit, in ``unit``."""
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


MEASURED = {
    # Degrees of an invented cam whose durations and centrelines the procedure's sums come out right for.
    "gap-one": "0.25 mm",
    "gap-four": "0.25 mm",
    "intake-opens": "4°",
    "intake-closes": "44°",
    "intake-opens-now": "6°",
    "intake-closes-now": "42°",
    "exhaust-opens": "44°",
    "exhaust-closes": "0°",
    "exhaust-opens-now": "44°",
    "exhaust-closes-now": "0°",
}
"""What is measured where the middle of each limit by itself would not make the sums come out inside theirs."""


def reading(state: State, record: RecordedValue) -> str:
    if record.name in MEASURED:
        return MEASURED[record.name]
    match record.bound:
        case Fixed(limit):
            return middle(limit, record.unit)
        case AboveReading() as bound:
            raised = limit_of(state, bound, record.unit)
            assert raised is not None  # the reading that it leans on comes first
            return middle(raised, record.unit)
        case EqualWithin(spread):
            return f"{convert(spread, record.unit).value:f} {record.unit}"
        case _:
            return f"1 {record.unit}".strip()


def entries(state: State, step: Step) -> Iterator[Intent]:
    """Every entry that ``step`` wants, in the order of its inputs."""
    operation = step.operation
    for name in lots_wanted(state, step):
        yield {"intent": "lot", "consumable": name, "lot": "A-0042"}
    for record in operation.record:
        for slot in record.slots:
            key = "place" if record.by_place else "reading"
            yield {"intent": "record", "name": record.name, key: slot, "value": reading(state, record)}
    if operation.tighten is not None:
        joint = joint_of(state, operation.tighten.joint)
        for stage in operation.tighten.stages:
            value = middle(stage.limit, "N·m") if isinstance(stage, CheckStage) else None
            for fastener in stage_order(joint, stage):
                tick: Intent = {"intent": "tick", "joint": joint.id, "fastener": fastener}
                yield tick if value is None else tick | {"value": value}
    for number in range(1, len(operation.check) + 1):
        yield {"intent": "tick-check", "operation": step.id, "check": number}


def work_through(state: Callable[[], State], send: Send, way: Callable[[str], list[str]]) -> list[str]:
    """Do every operation of the session in the author's order, by the route that is offered. Returns what was done,
    operations and moves, in order."""
    done: list[str] = []
    for goal in list(state().plan.steps):
        while goal not in state().done:
            name = way(goal)[0]
            done.append(name)
            if name not in state().plan.steps:
                send({"intent": "move", "move": name})
                continue
            send({"intent": "start", "operation": name})
            step = state().plan.steps[name]
            for entry in entries(state(), step):
                send(entry)
            choose(state(), step, send)
            if step.operation.hold is not None:
                send({"intent": "sign", "operation": name, "by": "Kim the inspector"})
            send({"intent": "finish", "operation": name})
    return done


def choose(state: State, step: Step, send: Send) -> None:
    from benchflow.session.intents.choices import proposal
    from benchflow.session.intents.part_matching import proposed

    for table in step.operation.choose:
        send({"intent": "choose", "name": table.name, "take": proposal(state, step, table).takes[0]})
    for match in step.operation.match:
        for place, part in proposed(state, step, match)[0].items():
            send({"intent": "choose", "name": f"{match.name}[{place}]", "take": part})
