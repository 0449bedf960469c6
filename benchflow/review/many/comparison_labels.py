"""The labels of differences and readings in a comparison: titles and questions of the procedure instead of ids."""

from collections.abc import Callable
from functools import partial

from benchflow.ordering.wording import in_a_sentence, step_title, variable_title
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan, Step
from benchflow.session.rules.deviation_subjects import subject_text


def reading_label(plan: Plan, operation: str, name: str, slot: str) -> str:
    """``Head height at each corner, front intake``: the question, the place of the value and the reading."""
    step = plan.steps.get(operation)
    record = step.record(name) if step else None
    question = _question(step, name) if step else ""
    parts = [question or name]
    place = name.partition("[")[2].removesuffix("]")
    if question and place and place not in question:
        parts.append(place)
    if record is not None and len(record.slots) > 1:
        parts.append(slot if record.by_place else f"reading {slot}")
    return ", ".join(parts)


def _question(step: Step, name: str) -> str:
    """The question of a recorded value or the title of a calculated one; "" if it has none."""
    record, calculated = step.record(name), step.work_out(name)
    return record.ask if record else calculated.title if calculated else ""


def difference_label(plan: Plan, kind: str, operation: str, what: str) -> str:
    """The subject of a difference: ``lot of corner sealant``, ``torque wrench used``, ``working time``."""
    match kind:
        case "limit":
            name, _, slot = what.partition(" ")
            return f"limit of {reading_label(plan, operation, name, slot)}"
        case "attempts":
            name, _, slot = what.partition(" ")
            return f"readings of {reading_label(plan, operation, name, slot)}"
        case "reading":
            name, _, slot = what.partition(" ")
            return reading_label(plan, operation, name, slot)
        case "deviation":
            return f"deviation from {_deviation_subject(plan, operation, what)}"
        case "signature":
            return f"signed as {what}"
        case "lubricant":
            return f"lubricant of {_joint(plan.procedure, what)}"
        case "fastener":
            joint, _, number = what.removesuffix("]").partition("[")
            return f"{_joint(plan.procedure, joint)}, fastener {number}"
        case "joint" if " " in what:
            joint, _, stage = what.rpartition(" ")
            return f"{_joint(plan.procedure, joint)}, stage {stage}"
        case "calibration":
            return f"calibration of {_instrument(plan.procedure, what).removesuffix(' used')}"
        case "remedy":
            return f"remedy for {what.rpartition(' ')[0]}"
        case "window":
            return f"time after “{step_title(plan, what)}”"
        case "choice":
            step = plan.steps.get(operation)
            choice = step.choice(what) if step else None
            return choice.title if choice and choice.title else what
        case _:
            text = _PROCEDURE_NAMES.get(kind)
            return text(plan.procedure, what) if text else what


LOGGED_TEXT: dict[str, str] = {
    "figure": "figure given",
    "joint": "ticks",
    "repair": "fastener",
    "note": "note",
    "complaint": "complaint",
    "cause": "what it turned out to be",
    "correction": "entry",
    "redone": "rework",
    "discard": "parts",
    "adapter": "adapter",
    "check": "check",
    "state": "state",
    "record": "record",
}
"""The subject of an entry that only one log has, by its kind."""


def _deviation_subject(plan: Plan, operation: str, subject: str) -> str:
    step = plan.steps.get(operation)
    if step is not None and (step.record(subject) or step.work_out(subject)):
        return f"“{_question(step, subject) or subject}”"
    return subject_text(subject, partial(step_title, plan))


def _joint(procedure: Procedure, name: str) -> str:
    joint = procedure.joints_by_id.get(name)
    return (in_a_sentence(joint.title) if joint is not None else "") or name


def _lot(procedure: Procedure, name: str) -> str:
    item = procedure.kit_by_id.get(name)
    return f"lot of {(in_a_sentence(item.title) if item else '') or name}"


def _instrument(procedure: Procedure, name: str) -> str:
    need = procedure.instruments_by_id.get(name)
    return f"{(in_a_sentence(need.title) if need else '') or name} used"


def _option(procedure: Procedure, name: str) -> str:
    return next((option.ask for option in procedure.options if option.name == name and option.ask), name)


def _start(procedure: Procedure, name: str) -> str:
    return f"{in_a_sentence(variable_title(procedure, name))} at the start"


_PROCEDURE_NAMES: dict[str, Callable[[Procedure, str], str]] = {
    "lot": _lot,
    "instrument": _instrument,
    "option": _option,
    "start": _start,
}
