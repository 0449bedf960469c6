"""Readings entered with a tick, and the ticks of a check stage that may be repeated."""

from benchflow.procedure.model import AngleStage, CheckStage, LoosenStage, Stage, TorqueStage
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity, QuantityError, dimension_of, parse_quantity
from benchflow.session.context import operation_in_progress, refuse, unknown_name, unreadable_quantity
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.check_stages import limit_unit, quantity_name
from benchflow.session.rules.instrument_fitness import Tool
from benchflow.session.rules.joint_progress import JointProgress, joint_progress, last_ticks
from benchflow.session.rules.typed_values import read_quantity, whole_number
from benchflow.session.state.state import State
from benchflow.trade.verdict import OUT_OF_LIMIT

NO_TOOL = Tool(None, None)
"""The tool of a reading without an instrument."""


def joint_in_progress(state: State, operation: str | None, joint: str) -> tuple[Step, JointProgress] | Refusal:
    """The operation in progress and the progress of its joint; a refusal if it does not tighten ``joint``."""
    step = operation_in_progress(state, operation)
    if isinstance(step, Refusal):
        return step
    progress = joint_progress(state, step)
    if progress is None or progress.joint.id != joint:
        return unknown_name("joint in this operation", joint, [] if progress is None else [progress.joint.id])
    return step, progress


def fastener_number(progress: JointProgress, given: int | str) -> int | Refusal:
    """The number of a fastener of the joint; a refusal if it has no such fastener."""
    number = whole_number(given)
    if number is None or not 1 <= number <= progress.joint.count:
        return unknown_name("fastener", str(given), map(str, range(1, progress.joint.count + 1)))
    return number


def rereadable_ticks(state: State, step: Step, progress: JointProgress) -> list[tuple[int, int]]:
    """Stage and fastener of the readings that are out of the limit and may be repeated.

    They are in the current stage, or in the one before it while the current one has no tick.
    """
    ticks = state.work(step.id).ticks
    if not any(tick.verdict in OUT_OF_LIMIT for tick in ticks):
        return []
    current = progress.stage_number
    stages = (current,) if progress.done else (current, current - 1)
    return [key for key, tick in last_ticks(ticks).items() if tick.verdict in OUT_OF_LIMIT and key[0] in stages]


def rereadable_fasteners(state: State, step: Step, progress: JointProgress) -> tuple[int, tuple[int, ...]]:
    """The check stage whose readings may be repeated (0: none), and its fasteners that are out of the limit."""
    found = rereadable_ticks(state, step, progress)
    return (found[0][0] if found else 0), tuple(fastener for _, fastener in found)


def tick_readings(
    stage: Stage, fastener: int, value: str | None, stretch: str | None
) -> tuple[Quantity | None, Quantity | None] | Refusal:
    """The readings of one fastener: the value and the stretch.

    A check stage requires a reading for each of its limits. In another stage, only a value is possible, and it is
    optional: the torque or angle that the tool shows.
    """
    name = str(fastener)
    if not isinstance(stage, CheckStage):
        if stretch is not None:
            message = f"Fastener {name}: this stage has no stretch reading ({stage.text}). Tick without it"
            return refuse("not-allowed", message, name=name)
        read = None if value is None else _tool_reading(stage, value, name)
        return read if isinstance(read, Refusal) else (read, None)
    reasons: list[Reason] = []
    found: dict[str, Quantity] = {}
    for field, text, limit in (("value", value, stage.limit), ("stretch", stretch, stage.stretch)):
        if limit is None and text is not None:
            message = f"Fastener {name}: this stage has only one reading ({stage.text}). Leave out the second"
            reasons.append(Reason("not-allowed", message, name=name))
        elif limit is not None and text is None:
            message = f"The reading of fastener {name} is missing. Enter its {quantity_name(limit)}"
            reasons.append(Reason("value-missing", message, name=name))
        elif limit is not None and text is not None:
            unit = limit_unit(limit)
            read = read_quantity(text, unit, dimension_of(unit), name)
            if isinstance(read, Refusal):
                reasons += read.refused
            else:
                found[field] = read
    return Refusal(tuple(reasons)) if reasons else (found.get("value"), found.get("stretch"))


def _tool_reading(stage: TorqueStage | AngleStage | LoosenStage, value: str, name: str) -> Quantity | Refusal:
    """The reading of a tool in a stage without a check: a torque, or in an angle stage, the angle or the torque."""
    try:
        read = parse_quantity(value)
        if isinstance(stage, TorqueStage) or dimension_of(read.unit) != "torque":
            read = parse_quantity(value, dimension="torque" if isinstance(stage, TorqueStage) else "angle")
    except QuantityError as error:
        return unreadable_quantity(error, name)
    return read
