"""The figures of an operation and where they come from, for the bench view."""

from collections.abc import Iterator

from benchflow.procedure.plan import Step
from benchflow.session.rules.step_figures import figures_of_step
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import FigureRow


def figure_rows(state: State, step: Step) -> Iterator[FigureRow]:
    """A row for each figure of a step."""
    for figure in figures_of_step(state, step):
        source = figure.source
        if source is None:
            yield FigureRow(figure.title, figure.text, "")
        else:
            yield FigureRow(figure.title, figure.text, source.shown, source.own_choice, source.by_default)
