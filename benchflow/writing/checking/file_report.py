"""The report of `check` on one procedure or block: first the findings of the reader, then those of the proof."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import replace

if TYPE_CHECKING:
    from benchflow.ordering.proof import Proof
    from benchflow.procedure.blocks.block_file import Block
    from benchflow.procedure.compiled_cache import Loaded

CheckFinding = dict[str, Any]
"""A finding as ``check --json`` prints it."""
ShownPath = Callable[[Path], str]
"""The text of a path for people, such as relative to the current folder."""


class FileReport(Struct, frozen=True):
    """The findings on a file. ``read`` are those of the reader and its checks, ``proven`` those of the proof.

    ``loaded`` is ``None`` for a block, which ``block`` describes. ``proof`` is ``None`` until the order is proven, and
    if the file has mistakes that prevent it. ``used`` are the files of the blocks that it uses. ``advice`` are notes
    on what is not a mistake; they are shown on the screen only.
    """

    file: str
    read: list[CheckFinding]
    loaded: "Loaded | None" = None
    proven: list[CheckFinding] = []
    proof: "Proof | None" = None
    block: dict[str, Any] | None = None
    used: tuple[Path, ...] = ()
    advice: list[CheckFinding] = []

    @property
    def findings(self) -> list[CheckFinding]:
        """All findings, in the order of the file."""
        return sorted([*self.read, *self.proven], key=lambda finding: (finding["line"], finding["column"]))

    @property
    def ok(self) -> bool:
        """True if no finding is an error and the order was explored in full; a block has no order."""
        explored = self.block is not None or (self.proof is not None and self.proof.complete)
        return explored and not any(finding["severity"] == "error" for finding in self.findings)

    def as_json(self) -> dict[str, Any]:
        """The report as ``check --json`` prints it."""
        complete = self.proof is not None and self.proof.complete
        explored = {"configurations": 0 if self.proof is None else self.proof.configurations, "complete": complete}
        report = {"file": self.file, "ok": self.ok, "findings": self.findings, "explored": explored}
        return report if self.block is None else {**report, "block": self.block}


def read_report(path: Path, shown: ShownPath) -> FileReport:
    """The report on a file without the proof of its order.

    Raises:
        BenchflowError: the file cannot be opened.
    """
    from benchflow.session.block_lookup import block_of_file
    from benchflow.session.procedure_loading import load_procedure

    block = block_of_file(path)
    if block is not None:
        return _block_report(path, block, shown)
    return report_of_loaded(load_procedure(path), shown(path), shown)


def report_of_loaded(loaded: "Loaded", file: str, shown: ShownPath) -> FileReport:
    """The report on a loaded procedure, without the proof of its order. ``file`` is its name in the report."""
    from benchflow.procedure.checks.split_checks import split_checks
    from benchflow.procedure.checks.unused_names import as_finding, check_structure

    found = [as_finding(problem) for problem in check_structure(loaded.procedure, (), file)]
    advice: list[CheckFinding] = []
    if loaded.procedure is not None:
        advice = [as_finding(problem) for problem in split_checks(loaded.procedure, file)]
        from benchflow.trade.joint_findings import joint_problems
        from benchflow.writing.checking.customer_values import hidden_value_problems

        found += [as_finding(problem) for problem in joint_problems(loaded.procedure, file)]
        hidden = hidden_value_problems(loaded.procedure, loaded.source_map, file)
        found += [as_finding(problem) for problem in hidden]
    read = [*map(as_finding, loaded.problems), *_at_authors_lines(found, loaded)]
    used = tuple(Path(one.file) for one in loaded.blocks)
    noted = [_with_shown_block(finding, shown) for finding in _at_authors_lines(advice, loaded)]
    return FileReport(file, [_with_shown_block(each, shown) for each in read], loaded, used=used, advice=noted)


def with_proof(
    report: FileReport, shown: ShownPath, bound: int | None, progress: Callable[[str, int], None] | None = None
) -> FileReport:
    """The report with the proof of the order; unchanged if the order cannot be proven.

    ``bound`` limits the configurations to explore. ``progress`` is called now and then with the phase of the proof and
    the number of configurations explored.
    """
    if report.loaded is None or report.loaded.procedure is None:
        return report
    from benchflow.ordering.proof import DEFAULT_BOUND, prove

    proof = prove(report.loaded.procedure, bound=bound or DEFAULT_BOUND, progress=progress)
    proven, advice = (
        [_with_shown_block(each, shown) for each in _at_authors_lines([one.as_json() for one in some], report.loaded)]
        for some in (proof.findings, proof.advice)
    )
    return replace(report, proven=proven, proof=proof, advice=[*report.advice, *advice])


def _at_authors_lines(found: list[CheckFinding], loaded: "Loaded") -> list[CheckFinding]:
    if loaded.source_map is None:
        return found
    return [loaded.source_map.finding_in_author_file(finding) for finding in found]


def _block_report(path: Path, block: "Block", shown: ShownPath) -> FileReport:
    """The report on a block file. Its ``block`` says what was checked."""
    from benchflow.procedure.blocks.block_sample import check_block, missing_samples
    from benchflow.procedure.blocks.block_stand_ins import stand_ins
    from benchflow.procedure.blocks.tree_writer import flow_text
    from benchflow.procedure.checks.unused_names import as_finding
    from benchflow.session.block_lookup import library_of_block

    found = [_with_shown_block(as_finding(problem), shown) for problem in check_block(block, library_of_block(path))]
    made = {name: flow_text(node) for name, node in stand_ins(block).items()}
    about = {"id": block.id, "without_sample": missing_samples(block), "stand_ins": made}
    return FileReport(shown(path), found, block=about)


def _with_shown_block(finding: CheckFinding, shown: ShownPath) -> CheckFinding:
    """The finding with the file of its block as people see it."""
    if "block" not in finding:
        return finding
    file, _, line = finding["block"].rpartition(":")
    return {**finding, "block": f"{shown(Path(file))}:{line}"}
