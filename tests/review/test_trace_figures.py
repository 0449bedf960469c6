"""`trace --figure` and `trace --source`: which figure, by which edition, each engine was built by.

The rule is `procedure-format.md`, "Where a number comes from". All figures are invented.
"""

from pathlib import Path

import pytest

from benchflow.procedure.figure_sources import OWN_CHOICE
from benchflow.procedure.procedure_figures import Figure
from benchflow.review.archive.database import open_database
from benchflow.review.archive.filing import file_logs
from benchflow.review.archive.index import ArchiveIndex
from benchflow.review.many.figure_search import FigureQuestion, FigureTrace, same_value, trace_figures
from benchflow.review.many.figure_text import figure_lines
from benchflow.review.many.known_names import UnknownName
from benchflow.review.many.log_scan import LogFiles
from tests.driving.script import Script, intent, open_intent, read_procedure
from tests.driving.sourced_cover import PROCEDURE, measure, open_cover, ticks, tighten

NEW = PROCEDURE.replace('revision: "A"', 'revision: "B"').replace('edition: "2025-02"', 'edition: "2026-01"')
NEW = NEW.replace("stages: [10 N·m,", "stages: [9 N·m,")


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, ...]:
    """Three jobs: one finished by the old sheet, one begun by it, and one that has just begun by the new one."""
    folder = tmp_path_factory.mktemp("jobs")
    finished = open_cover(folder / "1", unit="E1")
    measure(finished)
    tighten(finished)
    finished.do_all(
        intent("start", operation="close"), *ticks("cover", 2), intent("finish", operation="close"),
        intent("close", by="Robin"),
    )  # fmt: skip
    begun = open_cover(folder / "2", unit="E2")
    measure(begun)
    new = open_cover(folder / "3", NEW, unit="E3")
    return finished.path, begun.path, new.path


def traced(logs: tuple[Path, ...], figure: str = "", source: str = "") -> FigureTrace:
    return trace_figures(LogFiles(logs), FigureQuestion(figure, source), read_procedure)


def shown(result: FigureTrace) -> list[tuple[str, str, str, bool, list[str], list[str]]]:
    return [
        (
            one.figure, one.text, one.edition, one.older,
            [f"{job.unit} {job.work}" for job in one.open], [f"{job.unit} {job.work}" for job in one.finished],
        )
        for one in result.figures
    ]  # fmt: skip


def test_stage_lists_the_jobs_by_each_figure_and_edition(logs: tuple[Path, ...]) -> None:
    assert shown(traced(logs, "head-nuts stage 1")) == [
        ("head-nuts stage 1", "10 N·m", "2025-02", True, ["E2 not done yet"], ["E1 done"]),
        ("head-nuts stage 1", "9 N·m", "2026-01", False, ["E3 not done yet"], []),
    ]


def test_joint_lists_its_stages_and_a_figure_given_at_the_bench(logs: tuple[Path, ...]) -> None:
    found = shown(traced(logs, "head-nuts"))
    assert {figure for figure, *_ in found} == {"head-nuts", *(f"head-nuts stage {number}" for number in (1, 2, 3))}
    assert ("head-nuts stage 3", "33 N·m", "2025-02", False, [], ["E1 done"]) in found


@pytest.mark.parametrize(
    ("name", "figure"),
    [("gap", "gap"), ("gasket", "gasket"), ("time measure", "time since measure"), ("Gap", "gap"), ("gap[2]", "gap")],
)
def test_figure_is_found_by_its_name(logs: tuple[Path, ...], name: str, figure: str) -> None:
    assert {one.figure for one in traced(logs, name).figures} == {figure}


@pytest.mark.parametrize("name", ["bulletin", "Stud supplier's sheet", "bulletin p. 7"])
def test_source_lists_its_figures(logs: tuple[Path, ...], name: str) -> None:
    found = traced(logs, source=name).figures
    assert {one.document for one in found} == {"bulletin"}
    assert ("time since measure" in {one.figure for one in found}) is True
    assert "gap" not in {one.figure for one in found}


def test_own_choice_is_a_source(logs: tuple[Path, ...]) -> None:
    found = traced(logs, source=OWN_CHOICE).figures
    assert {(one.figure, one.own_choice) for one in found} == {("play", True), ("head-nuts stage 2", True)}


@pytest.mark.parametrize(
    ("question", "near"),
    [(FigureQuestion("head-nutz"), "head-nuts"), (FigureQuestion(source="bulletim"), "bulletin")],
)
def test_unknown_name_is_refused_with_the_nearest(logs: tuple[Path, ...], question: FigureQuestion, near: str) -> None:
    with pytest.raises(UnknownName, match=f"Nearest: {near}"):
        trace_figures(LogFiles(logs), question, read_procedure)


def test_figures_of_two_places_or_options_are_not_older_than_each_other(tmp_path: Path) -> None:
    text = PROCEDURE.replace("joints:\n", "options: {shaft: {ask: Which?, choices: [short, long]}}\njoints:\n", 1)
    text = text.replace("limit: at most 9 mm", "limit: {by: shaft, short: at most 8 mm, long: at most 9 mm}")
    paths = []
    for number, shaft in enumerate(("long", "short")):
        script = Script(tmp_path, text)
        script.path = tmp_path / f"{number}.jsonl"
        script.do_all(open_intent(unit=f"E{number}", options={"shaft": shaft}))
        paths.append(script.path)
    found = traced(tuple(paths), "width").figures
    assert [(one.text, one.older) for one in found] == [("at most 9 mm", False), ("at most 8 mm", False)]


def test_document_called_own_is_not_an_own_choice(tmp_path: Path) -> None:
    script = open_cover(tmp_path, PROCEDURE.replace("  bulletin: {", "  own: Own sheet\n  bulletin: {"))
    with pytest.raises(UnknownName):
        traced((script.path,), source="own")


def test_archive_gives_the_same_answer_as_the_files(logs: tuple[Path, ...], tmp_path: Path) -> None:
    database = open_database(str(tmp_path / "archive.sqlite"))
    file_logs(database, logs, "bench")
    found = trace_figures(ArchiveIndex(database), FigureQuestion("head-nuts"), read_procedure)
    database.close()
    assert shown(found) == shown(traced(logs, "head-nuts"))


def test_copy_in_the_archive_is_searched_where_the_file_is_gone(logs: tuple[Path, ...], tmp_path: Path) -> None:
    path = tmp_path / "moved.jsonl"
    path.write_bytes(logs[0].read_bytes())
    kept, bare = (open_database(str(tmp_path / f"{name}.sqlite")) for name in ("kept", "bare"))
    file_logs(kept, [path], "bench", copy_logs=True)
    file_logs(bare, [path], "bench")
    path.unlink()
    assert shown(trace_figures(ArchiveIndex(kept), FigureQuestion("gap"), read_procedure))
    without = trace_figures(ArchiveIndex(bare), FigureQuestion("gap"), read_procedure)
    assert (without.figures, len(without.left_out)) == ((), 1)
    kept.close()
    bare.close()


def test_figures_with_the_same_jobs_share_one_list_of_them(logs: tuple[Path, ...]) -> None:
    result = traced(logs[:1], source="bulletin")
    assert len(result.figures) > 2
    assert "\n".join(figure_lines(result)).count("E1 ") == 1


def test_text_has_open_jobs_apart_from_finished_ones(logs: tuple[Path, ...]) -> None:
    text = "\n".join(figure_lines(traced(logs, "head-nuts stage 1")))
    old, new = text.split("\n\n")[1:]
    assert old.startswith(
        "head-nuts stage 1 in tighten: 10 N·m, by Stud supplier's sheet, edition 2025-02: p. 1  OLDER"
    )
    assert old.index("open:") < old.index("E2") < old.index("finished:") < old.index("E1")
    assert "E3" in new
    assert "OLDER" not in new


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("at most 1 1/64 in", "at most 11/64 in", False),
        ("1 1/4 in", "1  1/4in", True),
        ("0.8 .. 2 Nm", "0.8..2.0 N·m", True),
    ],
)
def test_blank_within_a_mixed_fraction_counts_where_figures_are_compared(one: str, other: str, same: bool) -> None:
    values = {same_value(Figure("value", "depth", text, None)) for text in (one, other)}
    assert (len(values) == 1) is same
