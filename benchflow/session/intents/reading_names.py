"""The value and the reading that an intent names."""

from benchflow.procedure.model import values_of
from benchflow.procedure.plan import Step
from benchflow.session.context import unknown_name
from benchflow.session.refusal import Refusal
from benchflow.session.rules.evaluated_values import result_slots
from benchflow.session.rules.value_results import named_value
from benchflow.session.state.state import State


def named_reading(
    state: State, step: Step, name: str, reading: int | str | None, place: int | str | None
) -> tuple[str, str | None] | Refusal:
    """The name of the value, and the slot of the reading if the intent names one.

    ``name`` names a value as a formula does. ``reading`` is the reading; ``place`` is the reading or the place of the
    operation.
    """
    found = named_value(state, step, name)
    if found is None:
        return unknown_name("value in this operation", name, [value.name for value in values_of(step.operation)])
    value, slot = found
    record, work = step.record(value), step.work_out(value)
    slots = result_slots(state.plan, work) if work is not None else () if record is None else record.slots
    if place is not None and str(place) in slots and (record is None or record.by_place or step.place is None):
        reading = place if reading is None else reading
    elif place is not None and str(place) != step.place:
        return unknown_name(f"place of {value}", str(place), slots if step.place is None else [step.place])
    if reading is None:
        return value, slot
    if str(reading) not in slots or (slot is not None and slot != str(reading)):
        return unknown_name(f"reading of {value}", str(reading), slots if slot is None else [slot])
    return value, str(reading)
