"""Readings entered with a tick."""

from benchflow.procedure.model import CheckStage, HandStage, LoosenStage, Stage, TorqueStage
from benchflow.quantity import Quantity, QuantityError, dimension_of, parse_quantity
from benchflow.session.context import refuse, unknown_name, unreadable_quantity
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.check_stages import TickReadings, limit_unit, quantity_name
from benchflow.session.rules.instrument_fitness import Tool
from benchflow.session.rules.joint_progress import JointProgress
from benchflow.session.rules.typed_values import read_quantity, whole_number
from benchflow.session.state.events import CheckAnswer

ANSWERS = ("held", "moved")
"""The answers of a click wrench, which shows no reading: the fastener held the torque, or it moved."""

NO_TOOL = Tool(None, None)
"""The tool of a reading without an instrument."""


def fastener_number(progress: JointProgress, given: int | str) -> int | Refusal:
    """The number of a fastener of the joint; a refusal if it has no such fastener."""
    number = whole_number(given)
    if number is None or not 1 <= number <= progress.joint.count:
        return unknown_name("fastener", str(given), map(str, range(1, progress.joint.count + 1)))
    return number


def tick_readings(
    stage: Stage, fastener: int, value: str | None, stretch: str | None, answer: str | None = None
) -> TickReadings | Refusal:
    """The readings of one fastener: the value and the stretch, or the answer of a click wrench.

    A check stage requires a reading for each of its limits. A check of torque takes the answer ``held`` or ``moved``
    instead of the torque. In another stage, only a value is possible, and it is optional: the torque or angle that the
    tool shows.
    """
    name = str(fastener)
    if not isinstance(stage, CheckStage):
        for field, given in (("stretch", stretch), ("answer", answer)):
            if given is not None:
                message = f"Fastener {name}: this stage has no {field} ({stage.text}). Tick without it"
                return refuse("not-allowed", message, name=name)
        if value is not None and (isinstance(stage, HandStage) or (isinstance(stage, LoosenStage) and not stage.angle)):
            message = f"Fastener {name}: this stage has no figure ({stage.text}). Tick without a value"
            return refuse("not-allowed", message, name=name)
        read = None if value is None else _tool_reading(stage, value, name)
        if isinstance(stage, LoosenStage) and isinstance(read, Quantity) and read.value < 0:
            message = f"Fastener {name}: {value} has a minus sign. Enter the angle that it was turned back without it"
            return refuse("bad-quantity", message, name=name)
        return read if isinstance(read, Refusal) else TickReadings(read)
    answered = _answer(stage, name, value, answer)
    if isinstance(answered, Refusal):
        return answered
    reasons: list[Reason] = []
    found: dict[str, Quantity] = {}
    limits = [("value", value, None if answered else stage.limit), ("stretch", stretch, stage.stretch)]
    for field, text, limit in limits:
        if limit is None and text is not None:
            message = f"Fastener {name}: this stage has only one reading ({stage.text}). Leave out the second"
            reasons.append(Reason("not-allowed", message, name=name))
        elif limit is not None and text is None:
            instead = ", or answer held or moved" if field == "value" and quantity_name(limit) == "torque" else ""
            message = f"The reading of fastener {name} is missing. Enter its {quantity_name(limit)}{instead}"
            reasons.append(Reason("value-missing", message, name=name))
        elif limit is not None and text is not None:
            unit = limit_unit(limit)
            read = read_quantity(text, unit, dimension_of(unit), name)
            if isinstance(read, Refusal):
                reasons += read.refused
            else:
                found[field] = read
    if reasons:
        return Refusal(tuple(reasons))
    return TickReadings(found.get("value"), found.get("stretch"), answered)


def _answer(stage: CheckStage, name: str, value: str | None, answer: str | None) -> CheckAnswer | Refusal:
    """The answer of a click wrench; "" if none is given, a refusal if the check needs a reading."""
    if answer is None:
        return ""
    if answer not in ANSWERS:
        return unknown_name("answer", answer, ANSWERS)
    if quantity_name(stage.limit) != "torque":
        message = f"Fastener {name}: this check needs the {quantity_name(stage.limit)} ({stage.text}). Enter the value"
        return refuse("not-allowed", message, name=name)
    if value is not None:
        return refuse("not-allowed", f"Fastener {name}: enter the torque, or answer {answer}, not both", name=name)
    return "held" if answer == "held" else "moved"


def _tool_reading(stage: Stage, value: str, name: str) -> Quantity | Refusal:
    """The reading of a tool in a stage without a check: a torque, or in an angle stage, the angle or the torque."""
    try:
        read = parse_quantity(value)
        if isinstance(stage, TorqueStage) or dimension_of(read.unit) != "torque":
            read = parse_quantity(value, dimension="torque" if isinstance(stage, TorqueStage) else "angle")
    except QuantityError as error:
        return unreadable_quantity(error, name)
    return read
