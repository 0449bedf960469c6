"""Handler of the intent `choose`."""

from benchflow.base.plaintext import clean
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import PartMatching
from benchflow.procedure.plan import Step
from benchflow.quantity import QuantityError, dimension_of, parse_quantity, show
from benchflow.session.context import Context, Decision, Entry, in_progress, refuse, unknown, unreadable
from benchflow.session.intents import intent_types as it
from benchflow.session.refusal import Refusal
from benchflow.session.rules.choice_tables import input_values
from benchflow.session.rules.part_matching import match_place, on_hand, unit_of_parts
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def choose(state: State, intent: it.Choose, context: Context, by: str) -> Decision:
    step = in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    place = match_place(state, step, intent.name)
    if place is not None:
        return _choose_part(state, step, place, intent, by)
    tables = {table.name: table for table in step.operation.choose}
    table = tables.get(intent.name) or tables.get(str(ValueRef(intent.name, step.place)))
    if table is None:
        return unknown("choice in this operation", intent.name, tables)
    take = clean(intent.take).strip()
    known = list(dict.fromkeys(band.take for band in table.bands))
    if take not in known:
        return unknown(f"part for {table.name}", take, known)
    if not input_values(state, step, table.by):
        return refuse("value-missing", f"{table.by} is not measured yet. Measure it first", name=table.by)
    return (Entry(by, ev.Chosen(step.id, table.name, take)),)


def _choose_part(state: State, step: Step, place: tuple[PartMatching, str], intent: it.Choose, by: str) -> Decision:
    match, where = place
    parts = on_hand(state, match)
    if parts is None:
        return refuse("value-missing", f"{match.measured} is not all measured yet", name=match.measured)
    take = clean(intent.take).strip()
    if take not in parts:
        unit = unit_of_parts(parts)
        try:
            new = parse_quantity(take, dimension=dimension_of(unit))
        except QuantityError as error:
            if any(char.isdigit() for char in take) and error.code == "wrong-dimension":
                return unreadable(error, intent.name)
            return unknown(f"part measured under {match.measured}, nor the size of a new one", take, parts)
        return (Entry(by, ev.Chosen(step.id, intent.name, show(new))),)
    taken = state.work(step.id).chosen
    for name, part in taken.items():
        if part == take and name != intent.name and ValueRef.parse(name).name == match.name:
            return refuse("not-allowed", f"{take} is in {name} already. Choose another one for {where}", name=name)
    return (Entry(by, ev.Chosen(step.id, intent.name, take)),)
