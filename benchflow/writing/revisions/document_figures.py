"""The figures of a procedure that come from one document, each where it is written in the file."""

from collections.abc import Iterator

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.procedure.figure_sources import Source
from benchflow.procedure.model import Document, Procedure, RecordedValue
from benchflow.procedure.problems import hint_for
from benchflow.procedure.procedure_figures import Figure, figures_of
from benchflow.writing.revisions.change_targets import change_target
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.value_paths import FilePath, limit_path, path_text
from benchflow.writing.revisions.yaml_places import PlacedNode

_NO_FIGURES = frozenset({"by", "source", "from", "until", "while", "waive", "proves", "only"})
"""Keys beside a figure whose values are not figures."""
_ROW_ENDS = frozenset({"at least", "above", "up to", "below"})
_STAGE_KEYS = ("torque", "angle", "loosen", "check", "stretch")


class DocumentFigure(Struct, frozen=True):
    """One figure from the document. ``path`` leads to it from its operation, or from the top if ``operation`` is "".

    ``holder`` is the path of the mapping that can have its `source`. ``line`` is 0 if it is not in the file itself, but
    in a ``block``; ``old`` is the figure as written.
    """

    number: int
    figure: Figure
    operation: str
    path: FilePath
    holder: FilePath
    old: str
    source: Source
    line: int
    block: str = ""

    @property
    def title(self) -> str:
        """Its name for people: ``shim: record.play.limit``."""
        return f"{self.operation}: {path_text(self.path)}" if self.operation else path_text(self.path)


def document_of(procedure: Procedure, ident: str) -> Document:
    """The document with this id.

    Raises:
        BenchflowError: the procedure has none of that id.
    """
    found = procedure.documents_by_id.get(ident)
    if found is None:
        hint = hint_for(ident, procedure.documents_by_id) or "List it under `documents` with its title and edition."
        raise BenchflowError(f"{procedure.id} has no document `{ident}`. {hint}")
    return found


def document_figures(file: ProcedureFile, document: Document) -> list[DocumentFigure]:
    """The figures that come from a document, in the order of the file, numbered from 1."""
    found: dict[tuple[str, FilePath], DocumentFigure] = {}
    for figure in figures_of(file.procedure):
        source = figure.source
        if source is None or source.document is None or source.document.id != document.id:
            continue
        for path, holder in _paths(file.procedure, figure):
            for leaf, text, line, block in _written(file, figure.operation, path):
                key = figure.operation, leaf
                found.setdefault(
                    key,
                    DocumentFigure(len(found) + 1, figure, figure.operation, leaf, holder, text, source, line, block),
                )
    return list(found.values())


def _paths(procedure: Procedure, figure: Figure) -> Iterator[tuple[FilePath, FilePath]]:
    """The paths at which a figure can be written, each with the path of what can have its source."""
    holder: FilePath
    match figure.kind:
        case "value" if figure.limit:
            holder = _further_limit(procedure, figure)
            yield (*holder, "limit"), holder
        case "value":
            holder = limit_path(procedure, figure.operation, figure.name)[:-1]
            yield from (((*holder, key), holder) for key in ("limit", "used"))
        case "stage":
            holder = ("tighten", "stages", figure.stage - 1)
            yield from (((*holder, key), holder) for key in _STAGE_KEYS)
            yield holder, holder
        case "window":
            holder = ("time", figure.name)
            yield (*holder, "limit"), holder
            yield holder, holder
        case "match":
            holder = ("match", figure.name)
            yield from (((*holder, key), holder) for key in ("limit", "aim"))
        case "choice":
            holder = ("choose", figure.name)
            yield (*holder, "from"), holder
        case "joint":
            holder = ("joints", figure.name)
            yield from (((*holder, key), holder) for key in ("nut-factor", "tolerance"))
        case "instrument":
            holder = ("instruments", figure.name)
            yield from (((*holder, key), holder) for key in ("covers", "uncertainty"))
        case "kit":
            for group in ("parts", "consumables"):
                holder = ("kit", group, figure.name)
                yield from (((*holder, key), holder) for key in ("quantity", "life"))


def _further_limit(procedure: Procedure, figure: Figure) -> FilePath:
    operation = procedure.operations_by_id[figure.operation]
    for record in operation.record:
        if isinstance(record, RecordedValue) and record.name == figure.name:
            numbers = [n for n, limit in enumerate(record.also) if limit.label == figure.limit]
            return ("record", figure.name, "also", numbers[0] if numbers else 0)
    return ("record", figure.name)


def _written(file: ProcedureFile, operation: str, path: FilePath) -> Iterator[tuple[FilePath, str, int, str]]:
    """Each text of a figure with its path, its line (0 in a block) and its block."""
    target = change_target(file, operation, path)
    if target is None:
        return
    node = target.value
    if node is not None:
        for inner, leaf in _leaves(node, path[-1:] == ("limit",) or "stages" not in path):
            yield (*path, *inner), leaf.text, file.text.line_of(leaf.start), ""
    elif target.whole_key and file.written_root is not None:
        from benchflow.writing.revisions.yaml_places import operation_node

        found = operation_node(file.written_root, operation)
        node = None if found is None else found.at(path)
        for inner, leaf in () if node is None else _leaves(node, True):
            yield (*path, *inner), leaf.text, 0, target.block


def _leaves(node: PlacedNode, inside: bool) -> Iterator[tuple[FilePath, PlacedNode]]:
    """The texts of a figure: itself, those of each choice (`by`), or the ends of the rows of a table."""
    if node.kind == "list":
        for number, row in enumerate(node.items):
            yield from (((number, key.text), end) for key, end in row.pairs if key.text in _ROW_ENDS)
    elif node.kind == "text":
        yield (), node
    elif node.kind == "mapping" and inside and node.get("by") is not None:
        for key, value in node.pairs:
            if key.text not in _NO_FIGURES:
                chosen = value.get("limit") if value.kind == "mapping" else value
                more: FilePath = (key.text, "limit") if value.kind == "mapping" else (key.text,)
                yield from (
                    ((*more, *inner), leaf) for inner, leaf in (() if chosen is None else _leaves(chosen, True))
                )
