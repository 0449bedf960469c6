"""Dead ends: configurations that an allowed order reaches and from which the build cannot be finished."""

from collections.abc import Iterator

from benchflow.ordering.proof.plan_analysis import PlanAnalysis
from benchflow.ordering.proof.state_space import AnyStateSpace
from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.proof.witness import show_dead_end
from benchflow.ordering.work_meter import WorkMeter


def groups_with_dead_ends(analysis: PlanAnalysis) -> Iterator[tuple[VariableGroup, AnyStateSpace]]:
    """The explored groups that have a dead end when considered separately, each with its state space.

    :func:`~benchflow.ordering.proof.witness.show_dead_end` decides if the whole procedure can reach the dead end.
    """
    for group, space in analysis.pairs:
        if any(True for _ in space.dead_ends()):
            yield group, space


def has_dead_end(analysis: PlanAnalysis, work: WorkMeter) -> bool:
    """True if a step is never done, or if the whole procedure may reach the dead end of a group."""
    if analysis.never:
        return True
    return any(
        show_dead_end(analysis, group, space, work) is not None for group, space in groups_with_dead_ends(analysis)
    )
