"""Readings that a check stage takes, and those that may be taken again."""

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


def joint_in_progress(state: State, operation: str | None, joint: str) -> tuple[Step, JointProgress] | Refusal:
    """The operation in progress and its count; a refusal where it does not tighten this joint."""
    step = operation_in_progress(state, operation)
    if isinstance(step, Refusal):
        return step
    count = joint_progress(state, step)
    if count is None or count.joint.id != joint:
        return unknown_name("joint in this operation", joint, [] if count is None else [count.joint.id])
    return step, count


def fastener_number(count: JointProgress, given: int | str) -> int | Refusal:
    number = whole_number(given)
    if number is None or not 1 <= number <= count.joint.count:
        return unknown_name("fastener", str(given), map(str, range(1, count.joint.count + 1)))
    return number


NO_TOOL = Tool(None, None)


def rereadable_ticks(state: State, step: Step, count: JointProgress) -> list[tuple[int, int]]:
    """Stage and fastener where a check read out of its limit and may be read again: in the current stage, or in the
    one before while nothing of the next is done."""
    ticks = state.work(step.id).ticks
    if not any(each.verdict in OUT_OF_LIMIT for each in ticks):
        return []
    stages = (count.stage_number,) if count.done else (count.stage_number, count.stage_number - 1)
    return [key for key, each in last_ticks(ticks).items() if each.verdict in OUT_OF_LIMIT and key[0] in stages]


def rereadable_fasteners(state: State, step: Step, count: JointProgress) -> tuple[int, tuple[int, ...]]:
    """A check stage, and its fasteners that read out of the limit and may be read again by another tick. 0: none."""
    found = rereadable_ticks(state, step, count)
    return (found[0][0] if found else 0), tuple(fastener for _, fastener in found)


def tick_readings(
    stage: Stage, fastener: int, value: str | None, stretch: str | None
) -> tuple[Quantity | None, Quantity | None] | Refusal:
    """What was read on a fastener. A stage that checks wants it; the others take what a tool has to say."""
    name = str(fastener)
    if not isinstance(stage, CheckStage):
        if stretch is not None:
            return refuse("not-allowed", f"stretch is not read in this stage ({stage.text})", name=name)
        read = None if value is None else _any_reading(stage, value, name)
        return read if isinstance(read, Refusal) else (read, None)
    reasons: list[Reason] = []
    found: dict[str, Quantity] = {}
    for field, text, limit in (("value", value, stage.limit), ("stretch", stretch, stage.stretch)):
        if limit is None and text is not None:
            reasons.append(Reason("not-allowed", f"this stage asks for one reading ({stage.text})", name=name))
        elif limit is not None and text is None:
            what = quantity_name(limit)
            reasons.append(
                Reason("value-missing", f"this stage checks: enter the {what} of fastener {name}", name=name)
            )
        elif limit is not None and text is not None:
            unit = limit_unit(limit)
            read = read_quantity(text, unit, dimension_of(unit), name)
            if isinstance(read, Refusal):
                reasons += read.refused
            else:
                found[field] = read
    return Refusal(tuple(reasons)) if reasons else (found.get("value"), found.get("stretch"))


def _any_reading(stage: TorqueStage | AngleStage | LoosenStage, value: str, name: str) -> Quantity | Refusal:
    """What a tool reports of a stage that is not a check. Where the stage is an angle it may also be the torque that
    was reached; what is no such thing is refused."""
    try:
        read = parse_quantity(value)
        if isinstance(stage, TorqueStage) or dimension_of(read.unit) != "torque":
            read = parse_quantity(value, dimension="torque" if isinstance(stage, TorqueStage) else "angle")
    except QuantityError as error:
        return unreadable_quantity(error, name)
    return read
