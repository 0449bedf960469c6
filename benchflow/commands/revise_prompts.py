"""The questions of `benchflow revise` on a terminal: each proposal is accepted, changed or skipped with one key."""

import os
import sys
from collections import deque
from collections.abc import Sequence
from shutil import get_terminal_size

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_line, print_lines
from benchflow.writing.revisions.accepted_proposals import make_proposal
from benchflow.writing.revisions.change_edits import source_to_replace
from benchflow.writing.revisions.checked_text import new_errors
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.proposals import Proposal
from benchflow.writing.revisions.revision_text import change_hint, proposal_on_screen, terminal_width, wrapped

LINES_OF_THE_QUESTION = 5
"""The lines of a proposal's question with the blank lines around it."""

KEYS = "One key, no Enter: a accept, c change, s skip, b back, w write, q quit and write nothing."


def print_wrapped(text: str, indent: str = "") -> None:
    """Print a text in lines that fit the width of the terminal, each ending after a word."""
    print_lines(wrapped(text, indent, terminal_width()))


def typed_line(question: str, indent: str = "") -> str:
    """What is typed in one line, "" for back. An Enter at once belongs to the key before: then it asks again."""
    print_wrapped(f"{question} Type it, then Enter. Enter alone: back.", indent)
    for _ in range(2):
        typed = str(click.prompt(f"{indent}>", prompt_suffix=" ", default="", show_default=False)).strip()
        if typed:
            return typed
        print_wrapped("Nothing was typed.", indent)
    return ""


def confirmed(question: str) -> bool:
    """True for `y`. Enter alone asks again, because it can belong to the key before."""
    while True:
        typed = str(click.prompt(f"{question} Type y or n, then Enter", prompt_suffix=": ", default="",
                                 show_default=False)).strip().casefold()  # fmt: skip
        if typed in ("y", "yes", "n", "no"):
            return typed in ("y", "yes")


def ask_proposals(file: ProcedureFile, proposals: Sequence[Proposal]) -> tuple[dict[int, str], dict[int, str]]:
    """The accepted proposals by number, with the typed value ("": the proposed one), and the sources of new figures.

    An empty result means: write nothing.
    """
    accepted: dict[int, str] = {}
    sources: dict[int, str] = {}
    typed: deque[str] = deque()
    at = 0
    while at < len(proposals):
        proposal = proposals[at]
        print_line()
        height = get_terminal_size().lines - LINES_OF_THE_QUESTION
        print_lines(proposal_on_screen(proposal, len(proposals), file, terminal_width(), height))
        print_line()
        print_wrapped(f"{KEYS}{' It is accepted.' if proposal.number in accepted else ''}")
        match _key(typed):
            case "a" if proposal.problem:
                print_wrapped("It has no edit to accept. Change it (c), or skip it (s).")
                continue
            case "a":
                accepted[proposal.number] = ""
                sources.pop(proposal.number, None)
            case "c":
                typed.clear()  # what follows is the value
                changed = _changed(file, proposal)
                if changed is None:
                    continue
                accepted[proposal.number], source = changed
                sources[proposal.number] = source
            case "b":
                at = max(at - 1, 0)
                continue
            case "w":
                break
            case "q":
                return {}, {}
            case _:
                accepted.pop(proposal.number, None)
        at += 1
    return (accepted, sources) if _is_confirmed(proposals, accepted) else ({}, {})


def _key(typed: deque[str]) -> str:
    """The next key that has a meaning. Ctrl+C and the end of the input quit.

    ``typed`` are keys that came together with earlier ones. The escape sequence of an arrow key is not a letter.
    """
    click.echo("Key: ", nl=False)
    while True:
        while typed:
            key = typed.popleft()
            if key in "acsbwq":
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


def _changed(file: ProcedureFile, proposal: Proposal) -> tuple[str, str] | None:
    """What was typed instead, and its source if it is a figure, checked by the reader; ``None`` for back."""
    while True:
        typed = typed_line(f"{change_hint(proposal.change)}.")
        if not typed:
            return None
        try:
            old = source_to_replace(file, proposal.change, typed)
            source = typed_line(f"Source of the new figure (the old one: {old}).") if old else ""
            if old and not source:
                continue
            made = make_proposal(file, proposal, typed, source)
        except BenchflowError as error:
            print_wrapped(str(error))
            continue
        errors = new_errors(file, file.with_text(made.text, made.block))
        if not errors:
            print_wrapped(f"Changed: {made.what}")
            return typed, source
        for error_text in errors:
            print_wrapped(f"Not possible: {error_text}")


def _is_confirmed(proposals: Sequence[Proposal], accepted: dict[int, str]) -> bool:
    """True if the author confirms that the accepted ones are written."""
    if not accepted:
        return False
    print_line()
    for proposal in proposals:
        if proposal.number in accepted:
            key = f": {proposal.key}" if proposal.key else ""
            print_wrapped(f"{proposal.number}  {proposal.title}{key}", "  ")
    return confirmed("Write these into the file?")
