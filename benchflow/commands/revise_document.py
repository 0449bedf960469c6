"""The part of `benchflow revise` for a new edition of a document: `--document`."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line, shown_path
from benchflow.commands.console_output import print_json, print_line, print_lines, print_message, print_wrapped
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS
from benchflow.commands.file_lookup import log_paths
from benchflow.commands.revise_prompts import confirmed, print_paragraph
from benchflow.commands.revise_writing import refuse_shipped, write_revision
from benchflow.review.formatting import count
from benchflow.writing.revisions.block_edits import users_of_block
from benchflow.writing.revisions.checked_text import new_errors
from benchflow.writing.revisions.document_figures import DocumentFigure, document_figures, document_of
from benchflow.writing.revisions.document_revision import (
    FigureAnswer,
    NewEdition,
    answered_figure,
    make_document_revision,
)
from benchflow.writing.revisions.figure_jobs import JobOnFigure, jobs_on_figures
from benchflow.writing.revisions.job_evidence import job_name
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.revision_text import block_edit_text, terminal_width, wrapped

if TYPE_CHECKING:
    from benchflow.writing.revisions.accepted_proposals import MadeRevision

HELP = "Type a line, then Enter: the new figure, or `own` to keep the old one against the new edition, `back`, `quit`. "
UNDECIDED = "Enter alone: as before."
DECIDED = "Enter alone: it stays so. `old`: the figure as before."


def revise_document(
    source: ProcedureFile, edition: tuple[str, str, str], names: tuple[Path, ...],
    taken: dict[int, tuple[str, str]] | None, *, asks: bool, only_list: bool, as_json: bool, with_errors: bool,
    revision: str | None,
) -> int:  # fmt: skip
    """Revise a procedure by a new edition of a document. ``edition`` is its id, the new edition and its date.

    ``taken`` has the new value and the reason of an own choice by the number of a figure, ``None`` if none was named.
    """
    ident, text, printed = (clean_line(each) for each in edition)
    new = NewEdition(document_of(source.procedure, ident), text, printed)
    figures = document_figures(source, new.document)
    if only_list or (taken is None and not asks):
        _print_figures(source, new, figures, as_json)
        return SUCCESS
    refuse_shipped(source)
    if taken is None:
        if new.document.date and not new.date:
            new = _with_asked_date(new)
        answers = _ask_figures(source, new, figures)
        if answers is None:
            print_message("Nothing was written.")
            return SUCCESS
    else:
        unknown = sorted(set(taken) - {figure.number for figure in figures})
        if unknown:
            raise BenchflowError(f"There is no figure {unknown[0]}. There are {len(figures)}. List them with --list.")
        answers = {number: FigureAnswer(value, because) for number, (value, because) in taken.items()}
    made = make_document_revision(source, new, figures, answers, date.today(), revision)
    if not write_revision(source, made, with_errors, asks):
        return PROBLEM_FOUND
    changed = [figure for figure in figures if (one := answers.get(figure.number)) is not None and one.value]
    _print_result(source, made, _jobs(source, names, changed, new), as_json)
    return SUCCESS


def _print_figures(source: ProcedureFile, new: NewEdition, figures: Sequence[DocumentFigure], as_json: bool) -> None:
    document = new.document
    if as_json:
        rows = [
            {"number": each.number, "operation": each.operation, "key": each.key, "title": each.title,
             "old": each.old, "line": each.line, "block": each.block, "source": each.source.text}
            for each in figures
        ]  # fmt: skip
        print_json({
            "file": str(source.path), "document": document.id, "old-edition": document.edition, "edition": new.edition,
            "figures": rows,
        })  # fmt: skip
        return
    print_line(f"{document.title}, edition {document.edition or '(none)'} -> {new.edition}: {len(figures)} figures.")
    for figure in figures:
        print_lines(_figure_lines(source, figure, len(figures)))
    print_message("To write: --set N='new value', --own N='reason', --accept all for the rest as before.")


def _figure_lines(source: ProcedureFile, figure: DocumentFigure, of: int, width: int = 200) -> list[str]:
    place = f"block {figure.block}" if figure.block else f"{shown_path(source.path)}:{figure.line}"
    return [
        *wrapped(f"{figure.number} of {of}  {figure.title}: {clean_line(figure.old)}", "", width),
        *wrapped(f"({clean_line(figure.source.text)}; {place})", "   ", width),
    ]


def _with_asked_date(new: NewEdition) -> NewEdition:
    """The new edition with the typed date. Without one it has no date, because that of the old edition is wrong."""
    print_paragraph(f"Edition {new.document.edition or '(none)'} has the date {new.document.date}.")
    typed = str(click.prompt(f"Date of edition {new.edition} (Enter alone: none) >", prompt_suffix=" ", default="",
                             show_default=False))  # fmt: skip
    return replace(new, date=clean_line(typed).strip())


def _ask_figures(
    source: ProcedureFile, new: NewEdition, figures: Sequence[DocumentFigure]
) -> dict[int, FigureAnswer] | None:
    """The answers by the number of the figure; ``None`` to write nothing."""
    print_paragraph(f"{new.text} (was {new.document.edition or 'without an edition'}): {len(figures)} figures.")
    answers: dict[int, FigureAnswer] = {}
    at = 0
    while at < len(figures):
        figure = figures[at]
        print_line()
        print_lines(_figure_lines(source, figure, len(figures), terminal_width()))
        decided = answers.get(figure.number)
        if decided is not None:
            print_paragraph(f"You typed: {_answer_text(figure, decided)}", "   ")
        print_paragraph(f"{HELP}{UNDECIDED if decided is None else DECIDED}", "   ")
        typed = str(click.prompt("   >", prompt_suffix=" ", default="", show_default=False)).strip()
        if typed in ("quit", "back"):
            if typed == "quit":
                return None
            at = max(at - 1, 0)
            continue
        if not typed and decided is not None:
            at += 1
            continue
        answer = _answer(source, figure, "" if typed == "old" else typed)
        if answer is None:
            continue
        answers.pop(figure.number, None)
        if answer.value or answer.because:
            answers[figure.number] = answer
        at += 1
    print_line()
    for figure in figures:
        if figure.number in answers:
            print_paragraph(f"{figure.number}  {_answer_text(figure, answers[figure.number])}", "  ")
    changed = sum(bool(answer.value) for answer in answers.values())
    print_paragraph(f"{count(changed, 'new figure')}, {len(answers) - changed} kept as own choice, the rest as before.")
    return answers if confirmed("Write this and the new edition into the file?") else None


def _answer_text(figure: DocumentFigure, answer: FigureAnswer) -> str:
    """``Cover, stage 2: 24 N·m -> 22 N·m``."""
    old = clean_line(figure.old)
    new = f" -> {answer.value}" if answer.value else f", own choice, because {answer.because}"
    return f"{figure.title}: {old}{new}"


def _answer(source: ProcedureFile, figure: DocumentFigure, typed: str) -> FigureAnswer | None:
    """What was typed, checked by the reader; ``None`` to ask again."""
    answer = FigureAnswer(typed)
    if typed == "own":
        reason = str(click.prompt("   Own choice, because >", prompt_suffix=" ", default="",
                                  show_default=False)).strip()  # fmt: skip
        if not reason:
            return None
        answer = FigureAnswer(because=reason)
    if not answer.value and not answer.because:
        return answer
    try:
        made = answered_figure(source, figure, answer)
    except BenchflowError as error:
        print_paragraph(str(error), "   ")
        return None
    errors = new_errors(source, source.with_text(made.text, made.block))
    if made.block is not None and not errors:
        place = f"{shown_path(made.block.path)}:{made.block_line}"
        print_paragraph(block_edit_text(place, *users_of_block(source, made.block.path)), "   ")
    for error_text in errors:
        print_paragraph(f"Not possible: {error_text}", "   ")
    return None if errors else answer


def _jobs(
    source: ProcedureFile, names: tuple[Path, ...], changed: Sequence[DocumentFigure], new: NewEdition
) -> list[JobOnFigure]:
    """The jobs with old figures, also with those given at the bench from the old edition.

    They are among the logs that are named, or in the log folder of this machine.
    """
    from benchflow.review.log.log_file import logs_under
    from benchflow.session.machine_folders import machine_folders
    from benchflow.session.procedure_loading import procedure_reader

    sessions = machine_folders().sessions
    paths = log_paths(names) if names else (logs_under(sessions) if sessions.is_dir() else [])
    old = [figure for each in changed for figure in (each.figure, *(other.figure for other in each.also))]
    return jobs_on_figures(paths, source.procedure, old, procedure_reader(), new.document)


def _print_result(source: ProcedureFile, made: "MadeRevision", jobs: Sequence[JobOnFigure], as_json: bool) -> None:
    from benchflow.writing.revisions.revision_text import check_lines, written_block_lines

    old = source.procedure.revision
    if as_json:
        print_json({
            "file": str(source.path), "written": True, "old-revision": old, "revision": made.revision,
            "changes": made.entries, "blocks": [str(each.path) for each in made.file.blocks],
            "check": {"ok": made.checked.ok, "new": made.checked.new, "mended": made.checked.mended},
            "jobs": jobs,
        })  # fmt: skip
        return
    lines = [f"{source.path}: revision {old or '(none)'} -> {made.revision}. The old file is replaced."]
    lines += [f"  {entry.what}" for entry in made.entries]
    lines += [*written_block_lines(made.file), *check_lines(made.checked, made.file)]
    for title, is_open in (("Open jobs with an old figure", True), ("Finished jobs with an old figure", False)):
        found = [job for job in jobs if job.open == is_open]
        lines += [f"{title}:"] if found else []
        for job in found:
            titles = ", ".join((*job.titles, *job.given))
            lines.append(f"  {job_name(job.unit)}  revision {job.revision or '(none)'}  {titles}  {job.log}")
    if jobs:
        lines.append("Decide for each job if its work has to be checked again. Readings: benchflow trace --figure NAME")
    print_wrapped(lines)
