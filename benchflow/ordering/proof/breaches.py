"""Where only the interlock stands between the order and a forbidden configuration."""

from collections.abc import Iterator

from benchflow.ordering.proof.explorer import Explorer
from benchflow.ordering.proof.plan_analysis import PlanAnalysis
from benchflow.ordering.proof.state_space import AnyStateSpace
from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.proof.witness import Undecided, Witness, show_breach


def breaking(analysis: PlanAnalysis) -> Iterator[tuple[VariableGroup, AnyStateSpace | None]]:
    """The parts in which prerequisites and needs may allow what a rule forbids; without a space where the part is
    known in outline only, and that it does is not certain."""
    for part, space in analysis.pairs:
        if space.breaches:
            yield part, space
    for outline in analysis.outlines:
        if not outline.proven.no_breach and outline.part.starts:
            yield outline.part, None


def find_breach(
    analysis: PlanAnalysis,
    part: VariableGroup,
    space: AnyStateSpace | None,
    explorer: Explorer,
    *,
    any_will_do: bool = False,
) -> Witness | Undecided | None:
    """A shortest order that shows it (or just one); ``None`` when the whole procedure never comes to it."""
    found = show_breach(analysis, part, space, any_will_do=any_will_do)
    if space is not None or not isinstance(found, Undecided):
        return found
    # It is not near the start: then all of the part has to be known.
    outline = next(each for each in analysis.outlines if each.part is part)
    known = explorer.look_closer(outline)
    if known is None:
        return found
    return show_breach(analysis, part, known, any_will_do=any_will_do) if known.breaches else None
