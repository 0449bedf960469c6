"""Makes a revision from the accepted proposals: the new text, its name, its entries in `changes`, its check."""

from collections.abc import Mapping, Sequence
from datetime import date

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.writing.revisions.change_edits import MadeChange, make_change, source_to_replace
from benchflow.writing.revisions.changes_entries import ChangeEntry, change_entry, with_revision
from benchflow.writing.revisions.checked_text import CheckedRevision, check_revision
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.proposals import Proposal
from benchflow.writing.revisions.revision_names import next_revision


class MadeRevision(Struct, frozen=True):
    """A revision before it is written. ``accepted`` are the numbers of the proposals."""

    file: ProcedureFile
    revision: str
    accepted: tuple[int, ...]
    entries: tuple[ChangeEntry, ...]
    checked: CheckedRevision


def make_revision(
    file: ProcedureFile,
    proposals: Sequence[Proposal],
    accepted: Mapping[int, str],
    today: date,
    name: str | None = None,
    sources: Mapping[int, str] | None = None,
) -> MadeRevision:
    """Make the accepted proposals, each with the value that was typed for it ("" for the proposed one).

    ``sources`` are those of typed figures, by the number of the proposal.

    Raises:
        BenchflowError: an edit cannot be made, two of them change the same value, or a new figure has no source.
    """
    by_number = {proposal.number: proposal for proposal in proposals}
    changed: dict[tuple[str, str], int] = {}
    now, entries = file, []
    for number, given in accepted.items():
        proposal = by_number[number]
        source = (sources or {}).get(number, "")
        old = "" if source else source_to_replace(file, proposal.change, given)
        if old:
            raise BenchflowError(
                f"The old figure of proposal {number} is from: {old}. Name the source of the new one: "
                f"--source {number}='...', such as --source {number}='own choice, because ...'"
            )
        made = make_proposal(now, proposal, given, source)
        place = (
            (proposal.change.operation, made.key)
            if made.block is None
            else (f"{made.block.path}", f"{made.block_line}")
        )
        if made.key != "comment" and proposal.action != "append":
            if place in changed:
                raise BenchflowError(
                    f"The proposals {changed[place]} and {number} both change `{made.key}` of "
                    f"`{proposal.change.operation}`. Accept one."
                )
            changed[place] = number
        now = now.with_text(made.text, made.block)
        references = [each.reference for each in proposal.change.evidence]
        entries.append(change_entry(made, proposal.change.why, references))
    return finish_revision(file, now, tuple(accepted), entries, today, name)


def make_proposal(file: ProcedureFile, proposal: Proposal, given: str = "", source: str = "") -> MadeChange:
    """Make one proposal in the text of a file.

    Raises:
        BenchflowError: the edit cannot be made. The message names the proposal.
    """
    try:
        return make_change(file, proposal.change, given, source)
    except BenchflowError as error:
        raise BenchflowError(f"Proposal {proposal.number}: {error}") from error


def finish_revision(
    file: ProcedureFile, now: ProcedureFile, accepted: tuple[int, ...], entries: Sequence[ChangeEntry], today: date,
    name: str | None = None,
) -> MadeRevision:  # fmt: skip
    """Give the changed text its revision and its entries, and check it."""
    old = file.procedure.revision
    revision = clean_line(name or "").strip() or next_revision(old, today)
    if revision == old:
        raise BenchflowError(f"{file.path} has the revision {old} already. Give the new one another name.")
    done = now.with_text(with_revision(now.text, revision, today, entries))
    return MadeRevision(done, revision, accepted, tuple(entries), check_revision(file, done))
