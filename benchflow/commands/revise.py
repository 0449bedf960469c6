"""The command ``revise``: changes a procedure by proposals from the logs of its jobs."""

import re
import sys
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import (
    print_json,
    print_line,
    print_lines,
    print_message,
    print_warning,
    print_wrapped,
)
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.file_lookup import find_procedure, log_paths

if TYPE_CHECKING:
    from benchflow.writing.revisions.accepted_proposals import MadeRevision
    from benchflow.writing.revisions.gathered_jobs import GatheredJobs, JobOnRevision
    from benchflow.writing.revisions.procedure_file import ProcedureFile
    from benchflow.writing.revisions.proposals import Proposal


@click.command(epilog=exit_code_help(
    "A log is damaged or breaks the rules, and is left out; or the result has errors and is not written."
))  # fmt: skip
@click.argument("file", metavar="FILE")
@click.argument("names", metavar="JOB...", nargs=-1, type=click.Path(path_type=Path))
@click.option("--list", "only_list", is_flag=True, help="Print the proposals and write nothing.")
@click.option("--accept", metavar="N,N", help="Accept these proposals: 1,3 or 2-5; `all`: all but comments.")
@click.option("--set", "given", metavar="N=VALUE", multiple=True,
              help="Accept proposal N with another value or other words.")  # fmt: skip
@click.option("--source", "typed_sources", metavar="N=SOURCE", multiple=True,
              help="The source of a figure that --set changes.")  # fmt: skip
@click.option("--document", metavar="ID", help="Walk through the figures from this document, for its new edition.")
@click.option("--edition", metavar="NEW", help="With --document: its new edition.")
@click.option("--date", "printed", metavar="DATE", help="With --document: the date of the new edition.")
@click.option("--own", metavar="N=REASON", multiple=True,
              help="With --document: keep figure N as your own choice against the printed one.")  # fmt: skip
@click.option("--revision", metavar="NAME", help="The new revision. Default: the next one (B, C; 1.3, 1.4).")
@click.option("--with-errors", is_flag=True, help="Write the result although check finds errors in it.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def revise(
    file: str, names: tuple[Path, ...], only_list: bool, accept: str | None, given: tuple[str, ...],
    typed_sources: tuple[str, ...], document: str | None, edition: str | None, printed: str | None,
    own: tuple[str, ...], revision: str | None, with_errors: bool, as_json: bool,
) -> int:  # fmt: skip
    """Revise a procedure from the logs of its jobs.

    Proposals come from notes, deviations and corrections marked "change the procedure", from findings of come-backs,
    and from what several jobs show together: figures given at the bench (from 2 jobs on; from a document: from 1 on),
    remedies, worked times, limits, checks answered no, deviations (from 3 jobs on). On a terminal, each is shown with
    its reason and its edit. Accept, change or skip it.

    With --document, go through the figures of a document for its new edition. `--accept all` keeps each figure that
    --set or --own does not name. Afterwards the jobs on the old figures are listed: those among the JOBs, or in the
    log folder.

    A figure that a block fixes is edited in the file of the block. That changes every procedure that uses the block, so
    `--accept all` leaves it out. A block that comes with the program is not edited.

    FILE is the procedure. A JOB is the name or the file of a log, or a folder of logs. The accepted edits change only
    their own lines; the revision goes up, and `changes` names the log lines that each comes from.
    """
    from benchflow.writing.revisions.procedure_file import read_procedure_file
    from benchflow.writing.revisions.proposals import proposals_for

    asks = sys.stdin.isatty() and sys.stdout.isatty() and not as_json
    if document is not None or edition is not None or printed is not None or own:
        from benchflow.commands.revise_document import revise_document

        if document is None or edition is None:
            raise click.UsageError("Name the document and its new edition: --document ID --edition NEW.")
        source = read_procedure_file(find_procedure(file))
        taken = {number: (value, "") for number, value in numbered(given, "--set").items()}
        taken |= {number: ("", reason) for number, reason in numbered(own, "--own").items()}
        return revise_document(
            source, (document, edition, printed or ""), names, taken if taken or accept else None,
            asks=asks, only_list=only_list, as_json=as_json, with_errors=with_errors, revision=revision,
        )  # fmt: skip
    if not names:
        raise click.UsageError("Name at least one JOB: a log, or a folder of logs.")
    source = read_procedure_file(find_procedure(file))
    paths = log_paths(names)
    if asks:
        print_message(f"Reading {'1 log' if len(paths) == 1 else f'{len(paths)} logs'} ...")
    gathered = _gathered(source, paths)
    proposals = proposals_for(source, gathered.jobs)
    code = PROBLEM_FOUND if any(skipped.bad for skipped in gathered.skipped) else SUCCESS
    chosen, sources = _chosen(proposals, accept, given), numbered(typed_sources, "--source")
    if sources.keys() - numbered(given, "--set").keys():
        raise click.UsageError("--source N names the source of a new figure, with --set N='...'")
    if only_list or not proposals or (chosen is None and not asks):
        _print_proposals(source, gathered, proposals, as_json)
        return code
    from benchflow.commands.revise_writing import refuse_shipped, write_revision

    if chosen is None:
        from benchflow.commands.revise_prompts import ask_and_write

        refuse_shipped(source)
        written, made = ask_and_write(source, proposals, revision, with_errors)
        if made is None:
            return code
        _print_result(source, made, written, _open_jobs(source, paths), as_json)
        return code if written else PROBLEM_FOUND
    if not chosen:
        if accept is not None and accept.strip() == "all":
            _print_nothing_accepted(proposals)
            return PROBLEM_FOUND
        print_message("No proposal was accepted. Nothing was written.")
        return code
    refuse_shipped(source)
    from benchflow.writing.revisions.accepted_proposals import make_revision

    made = make_revision(source, proposals, chosen, date.today(), revision, sources)
    written = write_revision(source, made, with_errors, asks)
    jobs = _open_jobs(source, paths)
    _print_result(source, made, written, jobs, as_json)
    return code if written else PROBLEM_FOUND


def _gathered(source: "ProcedureFile", paths: Sequence[Path]) -> "GatheredJobs":
    """The jobs of the procedure in these logs. A warning names each log that is left out.

    Raises:
        BenchflowError: none of the logs is a job by the procedure.
    """
    from benchflow.session.procedure_loading import procedure_reader
    from benchflow.writing.revisions.gathered_jobs import gather_jobs, newer_jobs
    from benchflow.writing.revisions.job_evidence import job_name

    procedure = source.procedure
    gathered = gather_jobs(paths, procedure, procedure_reader())
    for skipped in gathered.skipped:
        print_warning(f"{skipped.log} is left out. {skipped.why}")
    if not gathered.jobs:
        raise BenchflowError(f"None of the {len(paths)} logs is a job by {procedure.id}. Nothing was changed.")
    for job in newer_jobs(gathered.jobs, procedure):
        print_warning(
            f"{job_name(job.unit)} has revision {job.revision or '(none)'}, with changes that {source.path} does not "
            "have. Check that this is the right file."
        )
    return gathered


def _chosen(proposals: "Sequence[Proposal]", accept: str | None, given: tuple[str, ...]) -> dict[int, str] | None:
    """The accepted proposals by number, with the typed value ("": the proposed one); ``None`` if none is named.

    Raises:
        click.UsageError: a number or a value has another form.
        BenchflowError: there is no proposal of a number.
    """
    if accept is None and not given:
        return None
    numbers = {proposal.number for proposal in proposals}
    chosen: dict[int, str] = {}
    if accept is not None and accept.strip() == "all":
        chosen = {proposal.number: "" for proposal in proposals if proposal.certain}
    else:
        for part in (accept or "").replace(" ", "").split(","):
            found = re.fullmatch(r"(\d{1,6})(?:-(\d{1,6}))?", part)
            if found is not None:
                chosen.update(dict.fromkeys(range(int(found[1]), int(found[2] or found[1]) + 1), ""))
                if int(found[2] or found[1]) < int(found[1]):
                    raise click.UsageError(f"--accept {part} goes backwards. Write {found[2]}-{found[1]}.")
            elif part:
                raise click.UsageError(f"--accept takes numbers, such as 1,3 or 2-5, not {part!r}.")
    chosen |= numbered(given, "--set")
    unknown = sorted(set(chosen) - numbers)
    if unknown:
        raise BenchflowError(f"There is no proposal {unknown[0]}. There are {len(numbers)}. List them with --list.")
    return dict(sorted(chosen.items()))


def _print_nothing_accepted(proposals: "Sequence[Proposal]") -> None:
    """Say why `--accept all` accepts none of the proposals."""
    from benchflow.writing.revisions.revision_text import terminal_width, wrapped

    print_message("No proposal was accepted, because a person has to decide on each:")
    for proposal in proposals:
        for line in wrapped(f"{proposal.number}: {_left_out(proposal)}", "  ", terminal_width()):
            print_message(line)
    print_message("Nothing was written. To accept one, name its number: --accept 1")


def _left_out(proposal: "Proposal") -> str:
    if proposal.problem:
        return proposal.problem
    if proposal.block:
        return "It changes a block that other procedures can use."
    if proposal.action == "comment":
        return "It only adds a comment."
    return proposal.change.unsure or "It is a draft, to be written in your own words."


def numbered(texts: tuple[str, ...], option: str) -> dict[int, str]:
    """The values of an option ``N=VALUE`` by number.

    Raises:
        click.UsageError: a value has another form.
    """
    values: dict[int, str] = {}
    for text in texts:
        found = re.fullmatch(r"\s*(\d{1,6})\s*=\s*(\S.*)", text, re.DOTALL)
        if found is None:
            raise click.UsageError(f"{option} takes a number and a text, such as {option} 2='14 min', not {text!r}.")
        values[int(found[1])] = found[2]
    return values


def _open_jobs(source: "ProcedureFile", paths: Sequence[Path]) -> "list[JobOnRevision]":
    """The open jobs in the folders of the logs and in the log folder of this machine."""
    from benchflow.session.machine_folders import machine_folders
    from benchflow.session.procedure_loading import procedure_reader
    from benchflow.writing.revisions.gathered_jobs import open_jobs

    folders = [path.parent for path in paths]
    return open_jobs([*folders, machine_folders().sessions], source.procedure, procedure_reader())


def _print_proposals(
    source: "ProcedureFile", gathered: "GatheredJobs", proposals: "Sequence[Proposal]", as_json: bool
) -> None:
    from benchflow.review.formatting import count
    from benchflow.writing.revisions.revision_text import proposal_lines, terminal_width

    procedure = source.procedure
    if as_json:
        print_json({
            "file": str(source.path),
            "procedure": procedure.id,
            "revision": procedure.revision,
            "jobs": [
                {"unit": job.unit, "log": job.log.path, "revision": job.revision,
                 "session": job.log.facts.session.session}
                for job in gathered.jobs
            ],
            "skipped": [{"log": each.log, "why": each.why} for each in gathered.skipped],
            "proposals": [proposal_record(each, source) for each in proposals],
        })  # fmt: skip
        return
    named = f"revision {procedure.revision}" if procedure.revision else "without a revision"
    print_line(f"{procedure.title} ({procedure.id}), {named}: {count(len(gathered.jobs), 'job')}.")
    if not proposals:
        print_line("The jobs give no reason to change it. At the bench, F3 marks a note “change the procedure”.")
        print_line("Repeated findings are proposed from 3 jobs on, figures given at the bench from 2.")
    wraps = sys.stdout.isatty()
    width = terminal_width() if wraps else 100
    for proposal in proposals:
        print_line()
        print_lines(proposal_lines(proposal, len(proposals), source, width, wraps_edit=wraps))
    if proposals:
        print_message("To accept some: --accept 1,3. To accept one with another value: --set 2='...'")


def proposal_record(proposal: "Proposal", source: "ProcedureFile") -> dict[str, Any]:
    """A proposal as JSON."""
    change = proposal.change
    return {
        "number": proposal.number,
        "kind": change.kind,
        "operation": change.operation,
        "title": proposal.title,
        "file": str(source.path),
        "line": proposal.line,
        "key": proposal.key,
        "why": change.why,
        "action": change.action,
        "certain": proposal.certain,
        "old": proposal.old,
        "new": proposal.new,
        "diff": proposal.diff,
        "problem": proposal.problem,
        "block": proposal.block,
        "uses": proposal.uses,
        "users": proposal.users,
        "evidence": [
            {"job": each.unit, "log": each.log, "line": each.line, "at": each.at, "by": each.by, "words": each.words,
             "reference": each.reference}
            for each in change.evidence
        ],
    }  # fmt: skip


def _print_result(
    source: "ProcedureFile", made: "MadeRevision", written: bool, jobs: "Sequence[JobOnRevision]", as_json: bool
) -> None:
    from benchflow.writing.revisions.revision_text import check_lines, open_job_lines, written_block_lines

    old = source.procedure.revision
    if as_json:
        print_json({
            "file": str(source.path), "written": written, "old-revision": old, "revision": made.revision,
            "accepted": made.accepted, "changes": made.entries, "blocks": [str(each.path) for each in made.file.blocks],
            "check": {"ok": made.checked.ok, "new": made.checked.new, "mended": made.checked.mended},
            "open-jobs": jobs,
        })  # fmt: skip
        return
    if not written:
        return
    print_wrapped([
        f"{source.path}: revision {old or '(none)'} -> {made.revision}. The old file is replaced.",
        *(f"  {entry.what}" for entry in made.entries),
        *written_block_lines(made.file),
        *check_lines(made.checked, made.file),
        *open_job_lines(jobs, made.revision),
    ])  # fmt: skip
