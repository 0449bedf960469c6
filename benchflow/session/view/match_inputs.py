"""The choice inputs for matched parts: one for every place."""

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.plan import Step
from benchflow.quantity import show_short
from benchflow.session.rules.choice_waivers import match_waiver
from benchflow.session.rules.part_matching import (
    measured_parts,
    proposed_parts,
    result_title,
    resulting_value,
    size_of,
    unit_of_parts,
)
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import ChoiceInput
from benchflow.trade.decision_rules import judge


def match_inputs(state: State, step: Step) -> list[ChoiceInput]:
    """A choice for every place of each match, with the part that the matching proposes."""
    inputs = []
    work = state.work(step.id)
    for match in step.operation.match:
        parts = measured_parts(state, match) or {}
        proposal_by_place, note = proposed_parts(state, step, match)
        for place in state.plan.procedure.places.get(match.to, ()):
            name = str(ValueRef(match.name, place))
            chosen = work.chosen.get(name, "")
            free = tuple(part for part in parts if part == chosen or part not in work.chosen.values())
            size = size_of(parts, chosen) if chosen and parts else None
            value = None if size is None else resulting_value(state, step, match, place, size)
            fits = value is not None and judge(value, match.limit, "simple").verdict == "ok"
            text = f"{result_title(step, match)}: {show_short(value)}" if value is not None else note
            title = f"{match.title or match.name}: {place}"
            proposal = (proposal_by_place[place],) if place in proposal_by_place else ()
            complete = bool(chosen) and (fits or match_waiver(state, step, match, place) is not None)
            unit = unit_of_parts(parts) if parts else ""
            sizes = tuple(show_short(parts[part]) for part in free)
            inputs.append(ChoiceInput(name, title, proposal, free, chosen, complete, text, unit, sizes))
    return inputs
