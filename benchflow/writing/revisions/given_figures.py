"""Changes by the figures that were given at the bench for `ask`: the same one in several jobs."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from benchflow.base.plaintext import clean_line
from benchflow.procedure.figure_sources import parse_source
from benchflow.procedure.model import Procedure, RecordedValue
from benchflow.procedure.procedure_figures import Figure
from benchflow.review.many.figure_search import same_value, without_blanks
from benchflow.session.log.line_format import Line
from benchflow.writing.revisions.found_change import FoundChange
from benchflow.writing.revisions.job_evidence import DoneJob, LogEvidence, operation_of
from benchflow.writing.revisions.value_paths import FilePath, path_text
from benchflow.writing.revisions.yaml_places import PlacedNode, path_of_place, placed_nodes

LEAST_SAME: Final = 2
"""The fewest jobs that gave the same figure. One is enough if it is from a document of the procedure. (Own rule.)"""


def figure_changes(jobs: Sequence[DoneJob], procedure: Procedure, root: PlacedNode) -> Iterator[FoundChange]:
    """Figures to fill in where the file ``root`` still says `ask`. Different figures are a comment."""
    given: dict[tuple[str, FilePath], list[tuple[str, str, LogEvidence]]] = defaultdict(list)
    for job in jobs:
        last = {_asked(line): line for line in job.lines_of("figure-given")}
        corrections = {line.data.get("event"): line for line in job.lines_of("corrected")}
        tree = placed_nodes(_plain(job.log.procedure_text)) if last else None
        for line in last.values():
            place = _place(job, line, tree, root)
            if place is not None:
                figure, source, last_line = _in_force(line, corrections)
                source = _with_edition(source, job.log.procedure, procedure)
                evidence = job.evidence(last_line.seq, f"{clean_line(figure)} from {source}")
                given[place].append((figure, source, evidence))
    for (operation, path), found in given.items():
        node = _node_at(root, operation, path)
        if node is None or node.text.strip() != "ask":
            continue
        documented = any(parse_source(source, procedure).document is not None for _, source, _ in found)
        if len(found) < (1 if documented else LEAST_SAME):
            continue
        yield _change(procedure, operation, path, found)


def _name(procedure: Procedure, operation: str, path: FilePath) -> str:
    """The name of a figure for people: ``torque of stage 2``, ``limit of End float``; otherwise its path."""
    if path[:2] == ("tighten", "stages") and len(path) == 4:
        return f"{path[3]} of stage {int(path[2]) + 1}"
    if path[:1] == ("record",) and path[2:] == ("limit",):
        found = procedure.operations_by_id.get(operation)
        values = () if found is None else found.record
        asked = next((one.ask for one in values if isinstance(one, RecordedValue) and one.name == path[1]), "")
        return f"limit of {asked or path[1]}"
    return path_text(path)


def _change(
    procedure: Procedure, operation: str, path: FilePath, found: Sequence[tuple[str, str, LogEvidence]]
) -> FoundChange:
    """The figure with all its sources; if the jobs gave different figures, a comment that names each."""
    lines = tuple(evidence for *_, evidence in found)
    key = path_text(path)
    title = f"Figure for {_name(procedure, operation, path)}"
    figures: dict[str, list[str]] = {}
    for figure, source, evidence in found:
        figures.setdefault(_same_figure(path, figure), []).append(
            f"{clean_line(figure)} (job {evidence.unit}, from {source})"
        )
    if len(figures) > 1:
        each = "; ".join(texts[0] for texts in figures.values())
        why = f"{len(found)} jobs gave different figures: {each}. Find out which is right."
        words = f"The jobs gave different figures for {key}: {each}"
        return FoundChange("figure", operation, key, title, why, lines, path=path, value=words)
    sources = list({_same(source): source for _, source, _ in reversed(found)}.values())[::-1]
    figure = found[0][0]
    same = "the same source" if len(sources) == 1 else "sources in different words"
    which = f"{clean_line(figure)} from {'; '.join(sources)}."
    why = f"1 job gave {which}" if len(found) == 1 else f"{len(found)} jobs gave the same figure from {same}: {which}"
    unsure = "Only one job gave it. Compare it with the document." if len(found) == 1 else ""
    other = [parse_source(source, procedure) for source in sources]
    old = [one for one in other if one.document is not None and one.other_edition]
    if old and old[0].document is not None:
        now = f"The procedure has edition {old[0].document.edition} of `{old[0].document.id}`"
        unsure = f"{now}, but the figure is from another edition. Look it up."
    return FoundChange(
        "figure", operation, key, title, why, lines, "set", path, figure, "; ".join(sources), unsure=unsure
    )


def _with_edition(source: str, then: Procedure, now: Procedure) -> str:
    """The source with the edition that its document had in the job, if the procedure has another one now."""
    found = parse_source(source, then)
    document = None if found.document is None else now.documents_by_id.get(found.document.id)
    if found.document is None or document is None or found.other_edition:
        return source
    old = found.document.edition
    if not old or old.casefold() == document.edition.casefold():
        return source
    return f"{document.id} ed. {old} {found.place}".strip()


def _in_force(given: Line, corrections: Mapping[object, Line]) -> tuple[str, str, Line]:
    """A figure and its source after all corrections, and the line that states it last.

    ``corrections`` are found by the entry that each corrects.
    """
    figure, source = "", ""
    line: Line | None = given
    last = given
    while line is not None:
        figure = str(line.data.get("figure") or "") or figure
        source = clean_line(str(line.data.get("source") or "")) or source
        last, later = line, corrections.get(line.seq)
        line = later if later is not None and later.seq > line.seq else None  # a forged one may correct itself
    return figure, source, last


def _asked(line: Line) -> str:
    asked_at = line.data.get("asked_at")
    return f"{asked_at or (line.data.get('operation'), line.data.get('joint'), line.data.get('stage'))}"


def _plain(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _place(job: DoneJob, line: Line, tree: PlacedNode | None, root: PlacedNode) -> tuple[str, FilePath] | None:
    """The operation ("" for the setup) and the path of the figure in the file; ``None`` if it is not found."""
    asked_at = line.data.get("asked_at")
    if asked_at is None:
        stage = int(line.data.get("stage") or 0)
        operation = operation_of(str(line.data.get("operation")))
        return operation, _asked_path(root, operation, stage)
    if tree is None:
        return None
    row, column = asked_at
    lines = _plain(job.log.procedure_text).split("\n")
    place = sum(len(each) + 1 for each in lines[: row - 1]) + column - 1
    return path_of_place(tree, place)


def _node_at(root: PlacedNode, operation: str, path: FilePath) -> PlacedNode | None:
    from benchflow.writing.revisions.yaml_places import operation_node

    start = operation_node(root, operation) if operation else root
    return None if start is None else start.at(path)


def _asked_path(root: PlacedNode, operation: str, stage: int) -> FilePath:
    """The path of the figure that a stage, from 1, still asks for: a torque or an angle."""
    angle: FilePath = ("tighten", "stages", stage - 1, "angle")
    return angle if _node_at(root, operation, angle) is not None else (*angle[:-1], "torque")


def _same_figure(path: FilePath, text: str) -> str:
    """A figure in one spelling, to compare."""
    return same_value(Figure("value" if path[:1] == ("record",) else "stage", "", text, None))


def _same(source: str) -> str:
    """A source without blanks and capital letters, to compare."""
    return without_blanks(source.casefold())
