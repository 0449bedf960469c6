"""The choice inputs for matched parts: one for every place."""

from benchflow.procedure.figure_sources import own_source, source_of
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.plan import Step
from benchflow.quantity import show_short
from benchflow.session.rules.choice_waivers import match_waiver
from benchflow.session.rules.part_matching import (
    fitted_part,
    part_measurements,
    proposed_parts,
    result_title,
    size_measurement,
    unit_of_parts,
)
from benchflow.session.rules.part_preference import preference_reasons, preferred_by_place
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import ChoiceInput


def match_inputs(state: State, step: Step) -> list[ChoiceInput]:
    """A choice for every place of each match, with the part that the matching proposes."""
    inputs = []
    work = state.work(step.id)
    superseded = {reason.name for reason in preference_reasons(state, step)}
    for match in step.operation.match:
        measured = part_measurements(state, match) or {}
        parts = {part: one.shown for part, one in measured.items()}
        proposal_by_place, note = proposed_parts(state, step, match)
        if match.prefer is not None:
            proposal_by_place, note = preferred_by_place(state, step, match), f"the {match.prefer} that fits"
        source = own_source(source_of(state.plan.procedure, match.source))
        for place in state.plan.procedure.places.get(match.to, ()):
            name = str(ValueRef(match.name, place))
            chosen = work.chosen.get(name, "")
            free = tuple(part for part in parts if part == chosen or part not in work.chosen.values())
            size = size_measurement(measured, chosen) if chosen else None
            fitted = None if size is None else fitted_part(state, step, match, place, size)
            fits = fitted is not None and fitted.verdict == "ok"
            text = f"{result_title(step, match)}: {show_short(fitted.value)}" if fitted is not None else note
            title = f"{match.title or match.name}: {place}"
            proposal = (proposal_by_place[place],) if place in proposal_by_place else ()
            complete = bool(chosen) and (fits or match_waiver(state, step, match, place) is not None)
            unit = unit_of_parts(parts) if parts else ""
            sizes = tuple(show_short(parts[part]) for part in free)
            complete = complete and name not in superseded
            prefer = match.prefer or ""
            inputs.append(ChoiceInput(name, title, proposal, free, chosen, complete, text, unit, sizes, prefer, source))
    return inputs
