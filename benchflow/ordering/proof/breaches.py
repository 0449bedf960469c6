"""Breaches on paper: orders that break a rule although `after` and `needs` allow them.

At the bench the interlock prevents such an order. A printed copy of the procedure does not.
"""

from collections.abc import Iterator

from benchflow.ordering.proof.group_explorer import Explorer
from benchflow.ordering.proof.order_completion import Witness
from benchflow.ordering.proof.plan_analysis import PlanAnalysis
from benchflow.ordering.proof.state_space import AnyStateSpace
from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.proof.witness import Undecided, show_breach


def groups_with_breaches(analysis: PlanAnalysis) -> Iterator[tuple[VariableGroup, AnyStateSpace | None]]:
    """The groups in which prerequisites and needs alone may allow an order that breaks a rule.

    A group without a state space was not explored, so its breach is possible but not certain.
    """
    for group, space in analysis.pairs:
        if space.breaches:
            yield group, space
    for unexplored_group in analysis.unexplored:
        if not unexplored_group.proven.no_breach and unexplored_group.group.starts:
            yield unexplored_group.group, None


def find_breach(
    analysis: PlanAnalysis,
    group: VariableGroup,
    space: AnyStateSpace | None,
    explorer: Explorer,
    *,
    any_length: bool = False,
) -> Witness | Undecided | None:
    """A shortest order that breaks a rule of the group; ``None`` if the whole procedure has none.

    With ``any_length`` the order may be longer than necessary.
    """
    found = show_breach(analysis, group, space, explorer.searches, any_length=any_length)
    if space is not None or not isinstance(found, Undecided):
        return found
    # No breach was found near the start, so the whole group has to be explored.
    unexplored_group = next(other for other in analysis.unexplored if other.group is group)
    known = explorer.explore_fully(unexplored_group)
    if known is None:
        return found
    return show_breach(analysis, group, known, explorer.searches, any_length=any_length) if known.breaches else None
