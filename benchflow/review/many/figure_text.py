"""Writes the trace of a figure or a source as lines of text for a terminal."""

from collections.abc import Iterator, Sequence

from benchflow.review.formatting import count, local_time_with_zone
from benchflow.review.many.figure_search import DONE, FigureJob, FigureTrace, TracedFigure


def figure_lines(result: FigureTrace) -> Iterator[str]:
    """Each figure with its source, and below it the open jobs, then the finished ones.

    Figures with the same jobs, as far done in each, have one list of them.
    """
    jobs = {job.session for figure in result.figures for job in (*figure.open, *figure.finished)}
    yield f"{result.asked}: {count(len(result.figures), 'figure')}, {len(jobs)} of {count(result.looked_at, 'job')}"
    yield from (f"NOTE  {note}" for note in result.notes)
    several = len({figure.procedure for figure in result.figures}) > 1
    for figures in _with_same_jobs(result.figures):
        yield ""
        yield from (_heading(figure, procedure=several) for figure in figures)
        yield from _job_lines("open", figures[0].open)
        yield from _job_lines("finished", figures[0].finished)
    if result.left_out:
        yield ""
        yield f"{count(len(result.left_out), 'file')} not searched:"
        yield from (f"  {path}" for path in result.left_out)


def _with_same_jobs(figures: Sequence[TracedFigure]) -> Iterator[list[TracedFigure]]:
    groups: dict[tuple[tuple[FigureJob, ...], tuple[FigureJob, ...]], list[TracedFigure]] = {}
    for figure in figures:
        groups.setdefault((figure.open, figure.finished), []).append(figure)
    yield from groups.values()


def _heading(figure: TracedFigure, *, procedure: bool) -> str:
    where = f" in {figure.operation}" if figure.operation else ""
    where += f" ({figure.procedure})" if procedure else ""
    older = "  OLDER: a later job has another one" if figure.older else ""
    return f"{figure.figure}{where}: {figure.text}, by {figure.source or 'no source'}{older}"


def _job_lines(title: str, jobs: Sequence[FigureJob]) -> Iterator[str]:
    if not jobs:
        return
    yield f"  {title}:"
    for job in jobs:
        revision = f", revision {job.revision}" if job.revision else ""
        simulated = ", simulated" if job.simulated else ""
        work = "" if job.work == DONE else f", {job.work}"
        opened = local_time_with_zone(job.opened_at)
        yield f"    {job.unit or job.session[:16]}  {opened}, {job.by}{revision}{simulated}{work}"
        yield f"      {f'{job.bench}: ' if job.bench else ''}{job.path}"
