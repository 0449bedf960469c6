"""Lists the figures of a procedure that come from one document, each with its place in the file."""

from collections.abc import Iterator
from typing import NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.procedure.figure_sources import Source
from benchflow.procedure.model import Document, Procedure, RecordedValue
from benchflow.procedure.problems import hint_for
from benchflow.procedure.procedure_figures import Figure, figures_of
from benchflow.writing.revisions.block_edits import block_figure
from benchflow.writing.revisions.block_parameters import place_in_file
from benchflow.writing.revisions.change_targets import change_target
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.value_paths import FilePath, limit_path, path_text
from benchflow.writing.revisions.yaml_places import PlacedNode, operation_node

_NO_FIGURES = frozenset({"by", "source", "from", "until", "while", "waive", "proves", "only"})
"""Keys beside a figure whose values are not figures."""
_ROW_ENDS = frozenset({"at least", "above", "up to", "below"})
_STAGE_KEYS = ("torque", "angle", "loosen", "check", "stretch")


class DocumentFigure(Struct, frozen=True):
    """One figure from the document. ``path`` leads to it from its operation, or from the top if ``operation`` is "".

    ``holder`` is the path of the mapping that can have its `source`. ``line`` is 0 if it is not in the file itself, but
    in a ``block``; ``old`` is the figure as written. ``from_block`` is true if its operation comes from a block.
    ``name`` is its name for people; ``also`` are other figures that a block makes of the same value.
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
    from_block: bool = False
    name: str = ""
    also: tuple["DocumentFigure", ...] = ()

    @property
    def key(self) -> str:
        """Its place: ``shim: record.play.limit``."""
        return f"{self.operation}: {path_text(self.path)}" if self.operation else path_text(self.path)

    @property
    def title(self) -> str:
        """Its name for people: ``Input shaft cover bolts, stage 2``."""
        return " and ".join(dict.fromkeys((self.name or self.key, *(each.name for each in self.also))))


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
    found: dict[tuple[object, ...], DocumentFigure] = {}
    for figure in figures_of(file.procedure):
        source = figure.source
        if source is None or source.document is None or source.document.id != document.id:
            continue
        name = figure_name(file.procedure, figure)
        for path, holder in _paths(file.procedure, figure):
            for each in _written(file, figure.operation, path):
                key = (
                    (each.place,)
                    if each.place
                    else (each.in_block,)
                    if each.in_block
                    else (figure.operation, each.path)
                )
                one = DocumentFigure(
                    len(found) + 1, figure, figure.operation, each.path, holder, each.text, source, each.line,
                    each.block, each.from_block, name + _choice_text(each.path[len(path) :]),
                )  # fmt: skip
                known = found.setdefault(key, one)
                places = {(other.operation, other.path) for other in (known, *known.also)}
                if (one.operation, one.path) not in places:
                    found[key] = replace(known, also=(*known.also, one))
    return list(found.values())


def _choice_text(inner: FilePath) -> str:
    """The name of a part of a figure: ``, output``; ``, row 2, above``."""
    return "".join(f", row {step + 1}" if isinstance(step, int) else f", {step}" for step in inner if step != "limit")


def figure_name(procedure: Procedure, figure: Figure) -> str:
    """The name of a figure for people: ``Input shaft cover bolts, stage 2``, ``End float (Total travel)``."""
    operation = procedure.operations_by_id.get(figure.operation)
    work = "" if operation is None else clean_line(operation.title or operation.id)
    match figure.kind:
        case "stage":
            joint = procedure.joints_by_id.get(figure.name)
            title = clean_line((joint.title if joint is not None else "") or figure.name)
            return f"{title[:1].upper()}{title[1:]}, stage {figure.stage}"
        case "window":
            since = procedure.operations_by_id.get(figure.name)
            after = clean_line((since.title if since is not None else "") or figure.name)
            return f"{work}, time since “{after}”"
        case _:
            title = clean_line(_title_of(procedure, figure))
            return f"{work}: {title}" if work and title.casefold() != work.casefold() else title


def _title_of(procedure: Procedure, figure: Figure) -> str:
    operation = procedure.operations_by_id.get(figure.operation)
    record = None if operation is None else next((one for one in operation.record if one.name == figure.name), None)
    asked = record.ask if isinstance(record, RecordedValue) else ""
    limit = f" ({figure.limit})" if figure.limit else ""
    return f"{asked or figure.name}{limit}"


def _paths(procedure: Procedure, figure: Figure) -> Iterator[tuple[FilePath, FilePath]]:
    """The paths at which a figure can be written, each with the path of the mapping that can have its source."""
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


class _WrittenText(NamedTuple):
    """One text of a figure. ``place`` is the place of the author's value that a block makes it of; otherwise 0."""

    path: FilePath
    text: str
    line: int
    block: str
    from_block: bool
    place: int = 0
    in_block: str = ""  # the place in the file of a block that fixes it


def _written(file: ProcedureFile, operation: str, path: FilePath) -> Iterator[_WrittenText]:
    """Each text of a figure: in the file, in what a use gives to its block, or in the block itself."""
    inside = path[-1:] == ("limit",) or "stages" not in path
    own = operation_node(file.root, operation) if operation else file.root
    node = None if own is None else own.at(path)
    if node is not None:
        for inner, leaf in _leaves(node, inside):
            yield _WrittenText((*path, *inner), leaf.text, file.text.line_of(leaf.start), "", False)
    if node is not None or file.written_root is None or (own is not None and operation):
        return
    start = operation_node(file.written_root, operation) if operation else file.written_root
    node = None if start is None else start.at(path)
    for inner, leaf in () if node is None else _leaves(node, inside):
        whole: FilePath = (*path, *inner)
        target = change_target(file, operation, whole)
        if target is not None and target.value is not None:
            at = target.value.start
            yield _WrittenText(whole, leaf.text, file.text.line_of(at), "", True, at)
        elif target is not None:
            block = target.block or place_in_file(file, leaf)[1]
            fixed = block_figure(file, block, whole, leaf.text)
            at_block = "" if fixed is None else f"{fixed.file.path}:{fixed.node.start}"
            yield _WrittenText(whole, leaf.text, 0, block, True, in_block=at_block)


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
