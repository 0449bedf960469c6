"""Checks of where the figures come from: documents that are misspelt, and figures without a source."""

from collections.abc import Iterator

from benchflow.procedure.figure_sources import misspelt_document, parse_source
from benchflow.procedure.model import Procedure
from benchflow.procedure.problems import Problem, hint_for
from benchflow.procedure.procedure_figures import Figure, figures_of
from benchflow.procedure.shapes.shape_base import ReadContext


def check_sources(procedure: Procedure, context: ReadContext) -> None:
    """Note every source whose first word is probably a misspelt id of a document, or that names another edition."""
    for written in context.sources:
        source = parse_source(written.name, procedure)
        if source.document is not None and source.other_edition and source.edition:
            there = source.document.edition or source.document.date
            context.problem(
                "other-edition",
                written.mark,
                f"The source “{source.text}” names the edition {source.edition}, but `documents` has {there}",
                "Look the figure up in that edition and leave the edition out here, or list the other edition as a "
                "document of its own",
                severity="note",
            )
        found = misspelt_document(written.name, procedure)
        if found is None:
            continue
        word, near = found
        context.problem(
            "unknown-document",
            written.mark,
            f"`{word}` is not a document of this procedure, so this source is read as a text",
            f"Did you mean `{near}`?" if near else hint_for(word, procedure.documents_by_id),
            severity="note",
        )


NOTED_KINDS = frozenset({"value", "stage", "window", "choice", "match", "joint"})
"""The kinds of figures that need a source. A measuring range or a shelf life may have one."""

_SHOWN = 3


def note_missing_sources(procedure: Procedure, file: str) -> Iterator[Problem]:
    """One note about all figures without a source: their number, and the first ones with their operations.

    Its place is that of the first figure. The text has no line numbers, because those of blocks would be wrong in it.
    """
    owners = {
        figure.mark: _named(figure)
        for figure in figures_of(procedure)
        if figure.source is None and figure.kind in NOTED_KINDS
    }
    if not owners:
        return
    count = len(owners)
    shown = list(owners.values())[:_SHOWN]
    first = next(iter(owners))
    one = count == 1
    yield Problem(
        "no-source",
        "note",
        file,
        first.line,
        first.column,
        f"{count} figure{' has' if one else 's have'} no source{': ' if count <= _SHOWN else ', first: '}"
        f"{', '.join(shown)}",
        "Write `source` beside each, or at the top for all of them",
    )


def _named(figure: Figure) -> str:
    name = figure.name if figure.kind == "stage" else figure.title
    return f"`{name}` in `{figure.operation}`" if figure.operation else f"`{name}`"
