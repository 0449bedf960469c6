"""Handler of the intent `choose`."""

from msgspec.structs import replace

from benchflow.base.plaintext import clean, clean_line
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import PartMatching
from benchflow.procedure.plan import Step
from benchflow.quantity import QuantityError, dimension_of, parse_quantity, show
from benchflow.session.context import (
    Context,
    Decision,
    Entry,
    refuse,
    unknown_name,
    unreadable_quantity,
)
from benchflow.session.intents import intent_types as intents
from benchflow.session.refusal import Refusal
from benchflow.session.rules.choice_tables import lookup_values, outside_reason
from benchflow.session.rules.current_operation import operation_in_progress
from benchflow.session.rules.part_matching import match_place, measured_parts, unit_of_parts
from benchflow.session.rules.part_preference import not_preferred
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def choose_part(state: State, intent: intents.ChoosePart, context: Context, by: str) -> Decision:
    step = operation_in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    if intent.place is not None and ValueRef.parse(intent.name).place is None:
        place = str(intent.place)
        at_place = str(ValueRef(intent.name, place))
        if match_place(state, step, at_place) is None and step.place != place:
            match = step.match(intent.name)
            known = [step.place] if match is None and step.place else ()
            places = known if match is None else state.plan.procedure.places.get(match.to, ())
            return unknown_name(f"place of {intent.name}", place, places)
        intent = replace(intent, name=at_place)
    match_and_place = match_place(state, step, intent.name)
    if match_and_place is not None:
        match, place = match_and_place
        return _choose_for_place(state, step, match, place, intent, by)
    return _choose_from_table(state, step, intent, by)


def _choose_from_table(state: State, step: Step, intent: intents.ChoosePart, by: str) -> Decision:
    tables = {table.name: table for table in step.operation.choose}
    table = tables.get(intent.name) or tables.get(str(ValueRef(intent.name, step.place)))
    if table is None:
        return unknown_name("choice in this operation", intent.name, tables)
    part = clean(intent.take).strip()
    if part not in table.takes:
        return unknown_name(f"part for {table.name}", part, table.takes)
    if not lookup_values(state, step, table.by):
        return refuse("value-missing", f"{table.by} is not measured yet. Measure it first", name=table.by)
    outside = outside_reason(state, step, table)
    if outside is not None:
        return Refusal((outside,))
    return (Entry(by, ev.PartChosen(step.id, table.name, part, clean_line(intent.reason))),)


def _choose_for_place(
    state: State, step: Step, match: PartMatching, place: str, intent: intents.ChoosePart, by: str
) -> Decision:
    parts = measured_parts(state, match)
    if parts is None:
        message = f"{match.measured} is not measured for every part yet. Measure the remaining parts first"
        return refuse("value-missing", message, name=match.measured)
    part = clean(intent.take).strip()
    if not clean_line(intent.reason):
        refusal = not_preferred(state, step, match, place, part)
        if refusal is not None:
            return refusal
    if part not in parts:
        unit = unit_of_parts(parts)
        try:
            new_size = parse_quantity(part, dimension=dimension_of(unit))
        except QuantityError as error:
            if any(char.isdigit() for char in part) and error.code == "wrong-dimension":
                return unreadable_quantity(error, intent.name)
            return unknown_name(f"part or size for {match.name}", part, parts)
        return (Entry(by, ev.PartChosen(step.id, intent.name, show(new_size), clean_line(intent.reason))),)
    for name, chosen in state.work(step.id).chosen.items():
        if chosen == part and name != intent.name and ValueRef.parse(name).name == match.name:
            message = f"{part} is already chosen for {name}. Choose another part for {place}"
            return refuse("not-allowed", message, name=name)
    return (Entry(by, ev.PartChosen(step.id, intent.name, part, clean_line(intent.reason))),)
