"""The questions of `benchflow revise` on a terminal: each proposal is accepted, changed or skipped with one key."""

import os
import sys
from collections import deque
from collections.abc import Sequence
from shutil import get_terminal_size

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_line, print_lines
from benchflow.writing.revisions.checked_text import new_errors
from benchflow.writing.revisions.made_revision import make_proposal
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.proposals import Proposal
from benchflow.writing.revisions.revision_text import change_hint, proposal_lines

KEYS = "a accept  c change  s skip  b back  w write  q quit, write nothing"


def ask_proposals(file: ProcedureFile, proposals: Sequence[Proposal]) -> dict[int, str]:
    """The accepted proposals by number, with the typed value ("": the proposed one); empty to write nothing."""
    accepted: dict[int, str] = {}
    typed: deque[str] = deque()
    at = 0
    while at < len(proposals):
        proposal = proposals[at]
        print_line()
        print_lines(proposal_lines(proposal, len(proposals), file, min(get_terminal_size().columns, 100)))
        print_line()
        match _key(accepted, proposal, typed):
            case "a" if proposal.problem:
                print_line("It has no edit to accept. Change it (c), or skip it (s).")
                continue
            case "a":
                accepted[proposal.number] = ""
            case "c":
                typed.clear()  # what follows is the value
                value = _changed(file, proposal)
                if value is None:
                    continue
                accepted[proposal.number] = value
            case "b":
                at = max(at - 1, 0)
                continue
            case "w":
                break
            case "q":
                return {}
            case _:
                accepted.pop(proposal.number, None)
        at += 1
    return _confirmed(proposals, accepted)


def _key(accepted: dict[int, str], proposal: Proposal, typed: deque[str]) -> str:
    """The next key that has a meaning. Ctrl+C and the end of the input quit.

    ``typed`` are keys that came together with earlier ones. The escape sequence of an arrow key is not a letter.
    """
    now = " (accepted)" if proposal.number in accepted else ""
    click.echo(f"{KEYS}{now}: ", nl=False)
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


def _changed(file: ProcedureFile, proposal: Proposal) -> str | None:
    """What was typed instead, checked by the reader; ``None`` if nothing was typed."""
    while True:
        hint = change_hint(proposal.change)
        typed = str(click.prompt(f"{hint} (empty: back)", default="", show_default=False)).strip()
        if not typed:
            return None
        try:
            made = make_proposal(file, proposal, typed)
        except BenchflowError as error:
            print_line(str(error))
            continue
        errors = new_errors(file, file.with_text(made.text))
        if not errors:
            print_line(f"Changed: {made.what}")
            return typed
        for error_text in errors:
            print_line(f"Not possible: {error_text}")


def _confirmed(proposals: Sequence[Proposal], accepted: dict[int, str]) -> dict[int, str]:
    """The accepted proposals in order, if the author writes them."""
    if not accepted:
        return {}
    print_line()
    for proposal in proposals:
        if proposal.number in accepted:
            print_line(f"  {proposal.number}  {proposal.title}")
    if click.confirm("Write these into the file?", default=True):
        return dict(sorted(accepted.items()))
    return {}
