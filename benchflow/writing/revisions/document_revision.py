"""Makes a revision for a new edition of a document: new figures, figures kept as own choice, and the edition."""

from collections.abc import Mapping, Sequence
from datetime import date

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.procedure.figure_sources import OWN_CHOICE, without_edition
from benchflow.procedure.model import AngleStage, Document, TorqueStage
from benchflow.writing.revisions.accepted_proposals import MadeRevision, finish_revision
from benchflow.writing.revisions.change_edits import MadeChange, NotEditable, make_change, make_copied_key
from benchflow.writing.revisions.changes_entries import ChangeEntry
from benchflow.writing.revisions.checked_text import new_errors
from benchflow.writing.revisions.document_figures import DocumentFigure
from benchflow.writing.revisions.found_change import FoundChange
from benchflow.writing.revisions.layout_edits import key_removed, yaml_scalar
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.value_paths import FilePath
from benchflow.writing.revisions.yaml_places import operation_node


class NewEdition(Struct, frozen=True):
    """The new edition of a document; ``date`` is "" if it is not stated. The date of the old one is then removed."""

    document: Document
    edition: str
    date: str = ""

    @property
    def text(self) -> str:
        """``Workshop manual, edition 4``."""
        return f"{self.document.title}, edition {self.edition}"


class FigureAnswer(Struct, frozen=True):
    """What becomes of a figure: the new ``value``, or the old one as an own choice ``because`` of a reason."""

    value: str = ""
    because: str = ""


def answered_figure(file: ProcedureFile, figure: DocumentFigure, answer: FigureAnswer) -> MadeChange:
    """Write the answer about one figure into the text. An own choice is written at each figure of the same value.

    Raises:
        NotEditable: the figure is not in the file itself, or has no place for its source.
    """
    if answer.value:
        made = make_change(file, _change(figure, figure.path, answer.value))
        _require_text(file.with_text(made.text, made.block), figure, answer.value)
        return _with_plain_source(file, figure, made)
    made = _kept_figure(file, figure, answer)
    for other in figure.also:
        made = _kept_figure(file.with_text(made.text), other, answer)
    return made


def _with_plain_source(file: ProcedureFile, figure: DocumentFigure, made: MadeChange) -> MadeChange:
    """The change with a source that names no edition: the new figure is not from the old one."""
    source = without_edition(figure.source)
    if source == figure.source.text or figure.source.by_default or figure.path == figure.holder:
        return made
    done = file.with_text(made.text, made.block)
    beside = make_change(done, _change(figure, (*figure.holder, "source"), source))
    return replace(made, text=beside.text, block=beside.block or made.block)


def _kept_figure(file: ProcedureFile, figure: DocumentFigure, answer: FigureAnswer) -> MadeChange:
    source = f"{OWN_CHOICE}, because {clean_line(answer.because)}"
    path: FilePath = (*figure.holder, "source")
    try:
        made = _source_beside(file, figure, source)
        if not new_errors(file, file.with_text(made.text)):
            return made
    except NotEditable:
        if not figure.from_block:
            raise
    if not figure.from_block:
        return made
    key = () if figure.path != figure.holder else (_key_of_text(file, figure),)
    return make_copied_key(file, _change(figure, path, source), path, source, str(key[0]) if key else "")


def _source_beside(file: ProcedureFile, figure: DocumentFigure, source: str) -> MadeChange:
    if figure.path != figure.holder:
        return make_change(file, _change(figure, (*figure.holder, "source"), source))
    key = _key_of_text(file, figure)
    inline = f"{{{key}: {yaml_scalar(figure.old)}, source: {yaml_scalar(source)}}}"
    return make_change(file, _change(figure, figure.path, inline))


def _require_text(file: ProcedureFile, figure: DocumentFigure, value: str) -> None:
    """Refuse an edit at the use of a block that does not make the figure ``value``."""
    if not figure.from_block or file.loaded.procedure is None or file.written_root is None:
        return  # an error of the reader is reported on its own
    root = operation_node(file.written_root, figure.operation) if figure.operation else file.written_root
    node = None if root is None else root.at(figure.path)
    if node is not None and node.kind == "text" and " ".join(node.text.split()) != value:
        raise NotEditable(
            f"Line {figure.line}: the block makes {node.text} of this value, not {value}. Change it by hand."
        )


def _change(figure: DocumentFigure, path: FilePath, value: str) -> FoundChange:
    return FoundChange("printed", figure.operation, figure.title, figure.title, "", (), "set", path, value)


def _key_of_text(file: ProcedureFile, figure: DocumentFigure) -> str:
    """The key of a figure that is written without one, such as a stage ``48 N·m``."""
    if figure.figure.kind == "window":
        return "limit"
    operation = file.procedure.operations_by_id[figure.operation]
    stages = () if operation.tighten is None else operation.tighten.stages
    match stages[figure.figure.stage - 1] if figure.figure.stage else None:
        case TorqueStage():
            return "torque"
        case AngleStage():
            return "angle"
        case _:
            raise NotEditable(f"Line {figure.line}: `{figure.title}` has no place for a source. Write it by hand.")


def make_document_revision(
    file: ProcedureFile,
    new: NewEdition,
    figures: Sequence[DocumentFigure],
    answers: Mapping[int, FigureAnswer],
    today: date,
    name: str | None = None,
) -> MadeRevision:
    """Write the answers by the number of their figure, and the new edition. The other figures are as before.

    Raises:
        BenchflowError: an edit cannot be made.
    """
    now = file
    entries: list[ChangeEntry] = []
    for figure in figures:
        answer = answers.get(figure.number)
        if answer is None or (answer.value and answer.value == figure.old):
            continue
        made = answered_figure(now, figure, answer)
        now = now.with_text(made.text, made.block)
        if answer.value:
            place = f": {figure.source.place}" if figure.source.place else ""
            what = f"{figure.title} {figure.old} -> {answer.value}{made.place_in_block}"
            entries.append(ChangeEntry(what, f"{new.text}{place}"))
        else:
            why = f"Own choice against {new.text}: {clean_line(answer.because)}"
            entries.append(ChangeEntry(f"{figure.title} stays {figure.old}", why))
    now, what = _with_edition(now, new)
    unchanged = len(figures) - len(entries)
    why = f"New edition. {unchanged} of its {len(figures)} figures are as before"
    return finish_revision(file, now, tuple(answers), [ChangeEntry(what, why), *entries], today, name)


def _with_edition(file: ProcedureFile, new: NewEdition) -> tuple[ProcedureFile, str]:
    """The file with the edition, and the date, of the document; and the change in words."""
    document = new.document
    if (document.edition, document.date) == (new.edition, new.date or document.date):
        raise BenchflowError(f"`{document.id}` is edition {document.edition} already. Name the new edition: --edition")
    base: FilePath = ("documents", document.id)
    node = file.root.at(base)
    values = {"edition": new.edition, **({"date": new.date} if new.date else {})}
    if node is not None and node.kind == "text":
        inline = ", ".join(f"{key}: {yaml_scalar(value)}" for key, value in {"title": document.title, **values}.items())
        change = FoundChange("printed", "", document.id, "", "", (), "set", base, f"{{{inline}}}")
        file = file.with_text(make_change(file, change).text)
    else:
        for key, value in values.items():
            change = FoundChange("printed", "", key, "", "", (), "set", (*base, key), value)
            file = file.with_text(make_change(file, change).text)
        holder = file.root.at(base)
        removed = None if new.date or holder is None else key_removed(file.text.plain, holder, "date")
        file = file if removed is None else file.with_text(file.text.edited([removed]))
    dated = (
        f", {new.date}" if new.date else f", without the date of the old one ({document.date})" if document.date else ""
    )
    return file, f"documents.{document.id}: edition {document.edition or '(none)'} -> {new.edition}{dated}"
