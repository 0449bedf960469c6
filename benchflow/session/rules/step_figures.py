"""The figures of one step of a build, each with its source: those of the file, and those given at the bench."""

from collections.abc import Iterator

from benchflow.procedure.figure_sources import parse_source
from benchflow.procedure.plan import Step
from benchflow.procedure.procedure_figures import Figure, figures_of_operation, setup_figures
from benchflow.session.state.state import State


def figures_of_step(state: State, step: Step) -> Iterator[Figure]:
    """The figures of a step: of its joint, its values, choices, stages and time windows."""
    procedure, tighten = state.plan.procedure, step.operation.tighten
    if tighten is not None:
        yield from (one for one in setup_figures(procedure) if one.kind == "joint" and one.name == tighten.joint)
    yield from figures_of_operation(procedure, step.operation)
    if tighten is None:
        return
    for number, given in sorted(state.work(step.id).figures.items()):
        source = parse_source(given.source, procedure)
        yield Figure("stage", tighten.joint, given.figure, source, step.operation.id, number)
