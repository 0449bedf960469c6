"""The proposals of a revision: each change with its place, its reason, its log lines and its edit as a diff."""

from collections.abc import Callable, Iterable, Iterator, Sequence

from msgspec import Struct

from benchflow.base.plaintext import shown_path
from benchflow.procedure.model import Procedure, ProcedureChange
from benchflow.writing.revisions.block_edits import users_of_block
from benchflow.writing.revisions.change_edits import NotEditable, make_change
from benchflow.writing.revisions.file_text import text_diff
from benchflow.writing.revisions.found_change import Action, ChangeKind, FoundChange
from benchflow.writing.revisions.given_figures import figure_changes
from benchflow.writing.revisions.job_evidence import DoneJob, change_key
from benchflow.writing.revisions.marked_entries import come_back_changes, marked_changes
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.repeated_findings import FINDERS


class Proposal(Struct, frozen=True):
    """One proposal. ``number`` counts from 1, ``line`` is that of the place in the file.

    ``diff`` is its edit, "" if it cannot be made as proposed; ``problem`` then says why. ``certain`` is false if a
    person has to decide: the edit only adds a comment, needs own words, or is made in a ``block``, which this procedure
    uses ``uses`` times and other ``users`` use too. ``note`` is a remark on
    its edit.
    """

    number: int
    change: FoundChange
    title: str
    line: int
    key: str
    old: str
    new: str
    diff: str
    problem: str = ""
    block: str = ""
    uses: int = 0
    users: tuple[str, ...] = ()
    note: str = ""

    @property
    def kind(self) -> ChangeKind:
        return self.change.kind

    @property
    def action(self) -> Action:
        return self.change.action

    @property
    def certain(self) -> bool:
        needs_person = self.action == "comment" or self.change.in_own_words or self.change.unsure or self.block
        return not needs_person and not self.problem


def find_changes(file: ProcedureFile, jobs: Sequence[DoneJob]) -> list[FoundChange]:
    """The changes that the logs give a reason for, without those that `changes` in the file names already."""
    procedure = file.procedure
    named = {reference for change in procedure.changes for reference in change.from_}
    single = [
        each
        for each in (*marked_changes(jobs, procedure), *come_back_changes(jobs, procedure))
        if each.evidence[0].reference not in named
    ]
    root = file.root if file.written_root is None else file.written_root
    repeated: list[FoundChange] = []
    finders = [lambda some, now: figure_changes(some, now, root), *FINDERS]
    for finder in finders:
        repeated += _not_named(finder, jobs, procedure)
    return [*single, *repeated]


def _not_named(
    finder: Callable[[Sequence[DoneJob], Procedure], Iterable[FoundChange]],
    jobs: Sequence[DoneJob],
    procedure: Procedure,
) -> Iterator[FoundChange]:
    """The changes from ``finder``. If `changes` names log lines of one, only the jobs after that change are used."""
    for found in finder(jobs, procedure):
        change = _change_that_names(procedure, found)
        if change is None:
            yield found
            continue
        later = [job for job in jobs if change_key(change) in job.changes]
        yield from (each for each in finder(later, procedure) if each.identity == found.identity)


def _change_that_names(procedure: Procedure, found: FoundChange) -> ProcedureChange | None:
    """The last change that comes from a line of this finding and is about its operation."""
    references = {each.reference for each in found.evidence}
    about = f"{found.operation}:"
    return next(
        (each for each in reversed(procedure.changes) if each.what.startswith(about) and references & set(each.from_)),
        None,
    )


def proposals_for(file: ProcedureFile, jobs: Sequence[DoneJob]) -> list[Proposal]:
    """The proposals in the order of their kinds, numbered from 1."""
    return [_proposal(file, number, change) for number, change in enumerate(find_changes(file, jobs), 1)]


def _proposal(file: ProcedureFile, number: int, change: FoundChange) -> Proposal:
    operation = file.procedure.operations_by_id.get(change.operation)
    about = f": “{operation.title or operation.id}” ({operation.id})" if operation is not None else ""
    title = f"{change.title}{about}"
    try:
        made = make_change(file, change)
    except NotEditable as error:
        return Proposal(number, change, title, 0, "", "", "", "", str(error))
    if made.block is not None:
        path = made.block.path
        diff = text_diff(file.block(path).text.plain, made.block.text.plain, shown_path(path))
        place = f"{shown_path(path)}:{made.block_line}"
        uses, users = users_of_block(file, path)
        return Proposal(number, change, title, made.line, made.key, made.old, made.new, diff, block=place,
                        uses=uses, users=users)  # fmt: skip
    diff = text_diff(file.text.plain, made.text.plain, shown_path(file.path))
    return Proposal(number, change, title, made.line, made.key, made.old, made.new, diff, note=made.note)
