"""The questions of `benchflow revise` on a terminal: each proposal is accepted, changed or skipped with one key."""

import os
import sys
from collections import deque
from collections.abc import Mapping, Sequence
from datetime import date
from shutil import get_terminal_size
from typing import NamedTuple

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_line, print_lines, print_message
from benchflow.commands.revise_writing import write_revision
from benchflow.writing.revisions.accepted_proposals import MadeRevision, make_proposal, make_revision
from benchflow.writing.revisions.change_edits import source_to_replace
from benchflow.writing.revisions.checked_text import new_errors
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.proposals import Proposal
from benchflow.writing.revisions.revision_text import change_hint, proposal_on_screen, terminal_width, wrapped

LINES_OF_THE_QUESTION = 5
"""The lines of a proposal's question with the blank lines around it."""

KEYS = "One key, no Enter: a accept, c change, s skip, b back, w write, q quit and write nothing."
DECIDED_KEYS = (
    "One key, no Enter: n next (it stays so), c change again, o accept as proposed, s skip, b back, w write, q quit "
    "and write nothing."
)


class AcceptedProposal(NamedTuple):
    """An accepted proposal: the typed value ("": the proposed one), its source, and the change in words.

    ``errors`` are those of the reader that it gives.
    """

    value: str
    source: str
    what: str
    errors: tuple[str, ...] = ()


def print_paragraph(text: str, indent: str = "") -> None:
    """Print a text in lines that fit the width of the terminal, each ending after a word."""
    print_lines(wrapped(text, indent, terminal_width()))


def typed_line(question: str, indent: str = "") -> str:
    """What is typed in one line, "" for back. An Enter at once belongs to the key before: then it asks again."""
    print_paragraph(f"{question} Type it, then Enter. Enter alone: back.", indent)
    for _ in range(2):
        typed = str(click.prompt(f"{indent}>", prompt_suffix=" ", default="", show_default=False)).strip()
        if typed:
            return typed
        print_paragraph("Nothing was typed.", indent)
    return ""


def confirmed(question: str) -> bool:
    """True for `y`. Enter alone asks again, because it can belong to the key before."""
    while True:
        typed = str(click.prompt(f"{question} Type y or n, then Enter", prompt_suffix=": ", default="",
                                 show_default=False)).strip().casefold()  # fmt: skip
        if typed in ("y", "yes", "n", "no"):
            return typed in ("y", "yes")


def ask_and_write(
    file: ProcedureFile, proposals: Sequence[Proposal], revision: str | None, with_errors: bool
) -> tuple[bool, MadeRevision | None]:
    """Ask for the proposals and write the accepted ones; if they cannot be written, ask again from where they stand.

    Returns whether it is written, and the revision; ``None`` if nothing was accepted.
    """
    accepted: dict[int, AcceptedProposal] = {}
    while True:
        answered = ask_proposals(file, proposals, accepted)
        if not answered or not answered[0]:
            quits = answered is None
            print_message(f"{'You quit.' if quits else 'No proposal was accepted.'} Nothing was written.")
            return False, None
        try:
            made = make_revision(file, proposals, answered[0], date.today(), revision, answered[1])
        except BenchflowError as error:
            print_paragraph(f"Not possible: {error}")
            continue
        if write_revision(file, made, with_errors, asks=True):
            return True, made
        print_paragraph("Back to the proposals. Your answers are kept.")


def ask_proposals(
    file: ProcedureFile, proposals: Sequence[Proposal], accepted: dict[int, AcceptedProposal]
) -> tuple[dict[int, str], dict[int, str]] | None:
    """The accepted proposals by number, with the typed value ("": the proposed one), and the sources of new figures.

    ``accepted`` are the answers so far. ``None`` if the author quits.
    Nothing is lost before: without the confirmation, the questions go on.
    """
    typed: deque[str] = deque()
    at = next((n for n, one in enumerate(proposals) if one.number in accepted and accepted[one.number].errors), 0)
    while True:
        if at >= len(proposals):
            if not accepted:
                return {}, {}
            if _is_confirmed(accepted):
                values = {number: accepted[number].value for number in sorted(accepted)}
                return values, {number: one.source for number, one in accepted.items() if one.source}
            at = 0
        proposal = proposals[at]
        decided = accepted.get(proposal.number)
        _show(file, proposal, len(proposals), decided)
        match _key(typed):
            case "a" | "o" if proposal.problem:
                print_paragraph("It has no edit to accept. Change it (c), or skip it (s).")
                continue
            case "a" | "n" if decided is not None:
                pass  # it stays so
            case "n":
                print_paragraph("Nothing is decided here yet. Accept it (a), change it (c) or skip it (s).")
                continue
            case "a" | "o":
                accepted[proposal.number] = _as_proposed(file, proposal)
            case "c":
                typed.clear()  # what follows is the value
                changed = _changed(file, proposal)
                if changed is None:
                    continue
                accepted[proposal.number] = changed
            case "b":
                at = max(at - 1, 0)
                continue
            case "w":
                at = len(proposals)
                continue
            case "q":
                return None
            case _:
                accepted.pop(proposal.number, None)
        at += 1


def _as_proposed(file: ProcedureFile, proposal: Proposal) -> AcceptedProposal:
    made = make_proposal(file, proposal)
    errors = tuple(new_errors(file, file.with_text(made.text, made.block)))
    return AcceptedProposal("", "", made.what, errors)


def _show(file: ProcedureFile, proposal: Proposal, of: int, decided: AcceptedProposal | None) -> None:
    print_line()
    height = get_terminal_size().lines - LINES_OF_THE_QUESTION
    print_lines(proposal_on_screen(proposal, of, file, terminal_width(), height))
    print_line()
    if decided is None:
        print_paragraph(KEYS)
        return
    print_paragraph(f"{'You changed it' if decided.value else 'It is accepted'}: {decided.what}")
    for error in decided.errors:
        print_paragraph(f"Error in the result: {error}")
    print_paragraph(DECIDED_KEYS)


def _key(typed: deque[str]) -> str:
    """The next key that has a meaning. Ctrl+C and the end of the input quit.

    ``typed`` are keys that came together with earlier ones. The escape sequence of an arrow key is not a letter.
    """
    click.echo("Key: ", nl=False)
    while True:
        while typed:
            key = typed.popleft()
            if key in "acsbwqno":
                click.echo(key)
                return key
        try:
            found = _read_keys()
        except EOFError:
            found = "q"
        typed.extend("" if found.startswith("\x1b") else found.lower())


def _read_keys() -> str:
    """The keys that were pressed, at least one. Unlike `click.getchar`, it loses no key that is pressed early.

    Raises:
        EOFError: the input has ended.
    """
    if sys.platform == "win32":  # pragma: no cover
        return click.getchar()
    import termios

    fd = sys.stdin.fileno()
    before = termios.tcgetattr(fd)
    by_key = termios.tcgetattr(fd)
    by_key[3] &= ~(termios.ICANON | termios.ECHO)
    termios.tcsetattr(fd, termios.TCSANOW, by_key)
    try:
        data = os.read(fd, 1024)
    finally:
        termios.tcsetattr(fd, termios.TCSANOW, before)
    if not data or data.startswith(b"\x04"):
        raise EOFError
    return data.decode("utf-8", "replace")


def _changed(file: ProcedureFile, proposal: Proposal) -> AcceptedProposal | None:
    """What was typed instead, and its source if it is a figure, checked by the reader; ``None`` for back."""
    known = ", ".join(document.id for document in file.procedure.documents)
    documents = f" The documents are: {known}." if known else ""
    while True:
        typed = typed_line(f"{change_hint(proposal.change)}.")
        if not typed:
            return None
        try:
            old = source_to_replace(file, proposal.change, typed)
            source = typed_line(f"Source of the new figure (the old one: {old}).{documents}") if old else ""
            if old and not source:
                continue
            made = make_proposal(file, proposal, typed, source)
        except BenchflowError as error:
            print_paragraph(str(error))
            continue
        errors = new_errors(file, file.with_text(made.text, made.block))
        if not errors:
            print_paragraph(f"Changed: {made.what}")
            return AcceptedProposal(typed, source, made.what)
        for error_text in errors:
            print_paragraph(f"Not possible: {error_text}")


def _is_confirmed(accepted: Mapping[int, AcceptedProposal]) -> bool:
    """True if the author confirms that the accepted ones are written."""
    print_line()
    print_paragraph("Accepted. To go back to the proposals: n")
    for number in sorted(accepted):
        print_paragraph(f"{number}  {accepted[number].what}", "  ")
        for error in accepted[number].errors:
            print_paragraph(f"error: {error}", "     ")
    return confirmed("Write these into the file?")
