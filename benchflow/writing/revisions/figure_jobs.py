"""The jobs that were built, or are built, by an old figure of a procedure."""

from collections.abc import Iterable
from pathlib import Path

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line, shown_path
from benchflow.base.regular_file import read_regular_file
from benchflow.procedure.model import Procedure
from benchflow.procedure.procedure_figures import Figure, figures_of
from benchflow.session.log.line_format import read
from benchflow.session.procedure_loading import ProcedureReader


class JobOnFigure(Struct, frozen=True):
    """A job whose procedure has the old figures ``titles``. ``open`` is true if it is not closed."""

    unit: str
    log: str
    revision: str
    open: bool
    titles: tuple[str, ...]


def jobs_on_figures(
    paths: Iterable[Path], procedure: Procedure, figures: Iterable[Figure], reader: ProcedureReader
) -> list[JobOnFigure]:
    """The jobs of ``procedure`` among these logs that have one of these figures as they were, open ones first."""
    old = {_key(figure): figure for figure in figures}
    found: list[JobOnFigure] = []
    for path in dict.fromkeys(path.resolve() for path in paths):
        try:
            lines = read(read_regular_file(path)).lines
            used = reader(str(lines[0].data.get("procedure") or "")) if lines else None
        except (OSError, BenchflowError):
            continue
        if used is None or used.id != procedure.id:
            continue
        titles = [figure.title for figure in figures_of(used) if _key(figure) in old]
        if titles:
            is_open = not any(line.kind == "closed" for line in lines)
            unit = clean_line(str(lines[0].data.get("unit") or ""))
            found.append(JobOnFigure(unit, shown_path(path), used.revision, is_open, tuple(dict.fromkeys(titles))))
    return sorted(found, key=lambda job: not job.open)


def _key(figure: Figure) -> tuple[str, str, str, int, str, str]:
    return figure.kind, figure.name, figure.operation, figure.stage, figure.limit, figure.text
