"""The proposals and the result of a revision as text for people."""

import re
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from pathlib import PurePath
from shutil import get_terminal_size

from benchflow.base.plaintext import clean_line, shown_path
from benchflow.review.formatting import count
from benchflow.writing.revisions.block_edits import users_of_block
from benchflow.writing.revisions.checked_text import CheckedRevision
from benchflow.writing.revisions.found_change import FoundChange
from benchflow.writing.revisions.gathered_jobs import JobOnRevision
from benchflow.writing.revisions.job_evidence import job_name
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.proposals import Proposal

_HUNK = re.compile(r"@@ -(\d+)")

MOST_LINES = 8
"""The largest number of log lines that are listed under one proposal."""


def terminal_width() -> int:
    """The width for texts on the terminal, at most 100 columns."""
    return min(get_terminal_size().columns, 100)


def proposal_on_screen(proposal: Proposal, of: int, file: ProcedureFile, width: int, height: int) -> list[str]:
    """One proposal, wrapped to ``width``. If it is higher than ``height``, fewer log lines are listed."""
    text: list[str] = []
    for most in (MOST_LINES, 4, 2, 1):
        text = list(proposal_lines(proposal, of, file, width, wraps_edit=True, most=most))
        if len(text) <= height:
            break
    return text


def proposal_lines(
    proposal: Proposal, of: int, file: ProcedureFile, width: int = 100, *, wraps_edit: bool = False,
    most: int = MOST_LINES,
) -> Iterator[str]:  # fmt: skip
    """One proposal: its title and place, why, at most ``most`` log lines, and the edit. The edit can be wrapped too."""
    place = f"{shown_path(file.path)}:{proposal.line}" if proposal.line else shown_path(file.path)
    yield from wrapped(f"{proposal.number} of {of}  {proposal.title}", "", width)
    yield from wrapped(f"{place}{f'  {proposal.key}' if proposal.key else ''}", "   ", width)
    yield from wrapped(proposal.change.why, "   ", width)
    lines = proposal.change.evidence
    for each in lines[:most]:
        yield from wrapped(f"- {each.reference}, {each.by}: {each.words}", "   ", width)
    if len(lines) > most:
        yield f"   - and {count(len(lines) - most, 'line')} more"
    if proposal.problem:
        yield from wrapped(f"No edit: {proposal.problem}", "   ", width)
        return
    if proposal.note:
        yield from wrapped(proposal.note, "   ", width)
    edit = "Edit:"
    if proposal.block:
        edit = f"{block_edit_text(proposal.block, proposal.uses, proposal.users)}. Edit:"
    elif proposal.change.in_own_words:
        edit = "Edit, as a draft. Write it in your own words (c in the list, --set in the command):"
    elif proposal.change.unsure:
        edit = f"{proposal.change.unsure} Edit:"
    elif not proposal.certain:
        edit = "This adds a comment, because a person has to decide what to change:"
    yield from wrapped(edit, "   ", width)
    for line in proposal.diff.split("\n")[2:]:
        hunk = _HUNK.match(line)
        if hunk is not None:
            yield f"     From line {hunk[1]}:"
            continue
        yield from _wrapped_edit(line, width - 5) if wraps_edit else (f"     {line}",)


def block_edit_text(block: str, uses: int, users: Sequence[str]) -> str:
    """What an edit in the file of a block changes besides. ``block`` is the file and line."""
    name = PurePath(block.rpartition(":")[0]).stem
    here = f"This procedure uses it {uses} times, and all of them change. " if uses > 1 else ""
    others = f"It changes {', '.join(users)} too." if users else "No other procedure in this folder uses it."
    return f"This edits the block at {block}. {here}{others} For other folders: benchflow blocks used {name} FOLDER"


def _wrapped_edit(line: str, width: int) -> Iterator[str]:
    """A line of a diff. A continued line is indented further, without the + or -."""
    body = line.lstrip(" +-")
    lead = line[: len(line) - len(body)]
    lines = textwrap.wrap(body, max(width - len(lead), 20), break_long_words=False, break_on_hyphens=False) or [""]
    yield f"     {lead}{lines[0]}"
    yield from (f"     {' ' * len(lead)}  {each}" for each in lines[1:])


def wrapped(text: str, indent: str, width: int) -> list[str]:
    """The text in lines that end after a word. A longer word is one line."""
    return textwrap.wrap(
        text, width, initial_indent=indent, subsequent_indent=f"{indent}  ", break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip


def change_hint(change: FoundChange) -> str:
    """What can be typed instead of the proposed value or words."""
    if change.in_own_words:
        return "Your words for the check, or a caution: `danger: ...`, `warning: ...`, `caution: ...`, `notice: ...`"
    if change.action != "comment":
        return f"New value of {change.path[-1]}"
    if not change.operation:
        return "Other words for the comment"
    key = change.path[-1] if change.path and isinstance(change.path[-1], str) else "do"
    return f"Other words, or a key with its value (such as `{key}: ...`)"


def check_lines(checked: CheckedRevision, file: ProcedureFile) -> Iterator[str]:
    """What `check` finds in the revised text that is new, and what is mended."""
    for name, findings in (("new", checked.new), ("mended", checked.mended)):
        for each in findings:
            block = f" (block {each['block']})" if each.get("block") else ""
            place = f"line {each['line']}{block}: " if each["line"] else ""
            yield f"  {name}: {place}{each['severity']}: {clean_line(str(each['message']))} [{each['code']}]"
    if not checked.new and not checked.mended:
        yield "  check: nothing new, nothing mended."
    if not checked.ok:
        yield f"  check: errors, or not explored in full. To see all findings: benchflow check {shown_path(file.path)}"


def written_block_lines(file: ProcedureFile) -> Iterator[str]:
    """The blocks that were written too, with the other procedures that they change."""
    for block in file.blocks:
        _, users = users_of_block(file, block.path)
        check = f" It changes {', '.join(users)} too. Check them: benchflow check {' '.join(users)}" if users else ""
        yield f"{shown_path(block.path)}: the block is changed.{check}"


def open_job_lines(jobs: Iterable[JobOnRevision], revision: str) -> Iterator[str]:
    """The open jobs by an older revision, and what to do."""
    found = list(jobs)
    if not found:
        return
    yield f"{count(len(found), 'open job')} by this procedure, each with the revision it was started with:"
    for each in found:
        yield f"  {job_name(each.unit)}  revision {each.revision or '(none)'}  {each.log}"
    yield (
        f"An open job keeps its revision to its end. Check if revision {revision} changes the work that is "
        "left in it. If it does, write a note in the job (n), or sign a deviation (d)."
    )
