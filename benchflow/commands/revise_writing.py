"""Writes the file that `benchflow revise` has revised, unless it has errors or was changed meanwhile."""

from pathlib import Path

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_message, print_warning
from benchflow.writing.revisions.accepted_proposals import MadeRevision
from benchflow.writing.revisions.checked_text import CheckedRevision
from benchflow.writing.revisions.procedure_file import FileChanged, ProcedureFile
from benchflow.writing.revisions.revision_text import check_lines, terminal_width, wrapped


def refuse_shipped(source: ProcedureFile) -> None:
    """Refuse a procedure in the installed package, because an update of the program would undo the revision.

    Raises:
        BenchflowError: the procedure comes with the program.
    """
    package = Path(__file__).resolve().parents[1]
    if source.path.resolve().is_relative_to(package):
        raise BenchflowError(
            f"{source.path} comes with the program, and an update would replace it. Copy it to your own folder and "
            "revise the copy."
        )


def write_revision(source: ProcedureFile, made: MadeRevision, with_errors: bool, asks: bool) -> bool:
    """Write the revision. Returns false if it has errors and was not written.

    Raises:
        BenchflowError: the file was changed meanwhile, or cannot be written.
    """
    if made.checked.has_errors and not with_errors:
        _print_check(made.checked, made.file)
        question = f"The result has errors. Write it to {source.path} nevertheless?"
        if not asks or not click.confirm(question, default=False, err=True):
            print_warning("The result has errors, so nothing was written. To write it nevertheless: --with-errors")
            return False
    try:
        made.file.write()
    except FileChanged as error:
        beside = made.file.save_beside(made.revision)
        kept = f" The revised text is kept in {beside}." if beside is not None else ""
        if made.file.blocks:
            kept += " No block was changed."
        raise BenchflowError(
            f"{error} It was not overwritten.{kept} Compare the two, or run revise again on the changed file."
        ) from error
    except BenchflowError as error:
        repeat = f" The accepted ones were: --accept {','.join(map(str, made.accepted))}" if made.accepted else ""
        raise BenchflowError(f"{error}{repeat}") from error
    return True


def _print_check(checked: CheckedRevision, file: ProcedureFile) -> None:
    for line in check_lines(checked, file):
        indent = line[: len(line) - len(line.lstrip())]
        for each in wrapped(line.strip(), indent, terminal_width()):
            print_message(each)
