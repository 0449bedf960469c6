"""Finds the finished and open jobs by an old figure of a procedure."""

from collections.abc import Iterable, Iterator
from pathlib import Path

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line, shown_path
from benchflow.base.regular_file import read_regular_file
from benchflow.procedure.figure_sources import parse_source
from benchflow.procedure.model import Document, Procedure
from benchflow.procedure.procedure_figures import Figure, figures_of
from benchflow.session.log.line_format import Line, read
from benchflow.session.procedure_loading import ProcedureReader


class JobOnFigure(Struct, frozen=True):
    """A job whose procedure has the old figures ``titles``. ``open`` is true if it is not closed.

    ``given`` are figures that it was given at the bench from the old edition, in words.
    """

    unit: str
    log: str
    revision: str
    open: bool
    titles: tuple[str, ...]
    given: tuple[str, ...] = ()


def jobs_on_figures(
    paths: Iterable[Path], procedure: Procedure, figures: Iterable[Figure], reader: ProcedureReader,
    document: Document | None = None,
) -> list[JobOnFigure]:  # fmt: skip
    """The jobs of ``procedure`` among these logs that have one of these figures unchanged, open ones first.

    It includes jobs that got a figure at the bench from the ``document``, whose edition is still the old one.
    """
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
        given = () if document is None else tuple(dict.fromkeys(_given(lines, used, document)))
        if titles or given:
            is_open = not any(line.kind == "closed" for line in lines)
            unit = clean_line(str(lines[0].data.get("unit") or ""))
            found.append(
                JobOnFigure(unit, shown_path(path), used.revision, is_open, tuple(dict.fromkeys(titles)), given)
            )
    return sorted(found, key=lambda job: not job.open)


def _given(lines: Iterable[Line], used: Procedure, document: Document) -> Iterator[str]:
    """The figures that a job was given from the document: ``150 N·m (given at the bench from edition 2)``."""
    then = used.documents_by_id.get(document.id)
    edition = document.edition if then is None else then.edition
    for line in lines:
        if line.kind != "figure-given":
            continue
        source = parse_source(str(line.data.get("source") or ""), used)
        if source.document is not None and source.document.id == document.id:
            name = clean_line(str(line.data.get("name") or line.data.get("joint") or ""))
            stage = f" stage {line.data['stage']}" if line.data.get("stage") else ""
            figure = clean_line(str(line.data.get("figure") or ""))
            yield f"{name}{stage} {figure} (given at the bench from edition {edition or '(none)'})".strip()


def _key(figure: Figure) -> tuple[str, str, str, int, str, str]:
    return figure.kind, figure.name, figure.operation, figure.stage, figure.limit, figure.text
