"""The source of a figure that was given at the bench is corrected: what counts changes, the log keeps both.

The rule is `procedure-format.md`, "Where a number comes from". No source outside. All figures are invented.
"""

from pathlib import Path

import pytest

from benchflow.review.log.loaded_log import load_log
from benchflow.review.many.figure_search import FigureQuestion, trace_figures
from benchflow.review.many.log_scan import LogFiles
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown
from benchflow.session.history.history import history_text, plan_from_log
from benchflow.session.log.line_format import read
from tests.driving.script import Json, Script, intent, open_intent, procedure_with, read_procedure

ASKED = "{id: m, title: M, record: {play: {unit: mm, limit: ask}}, hold: {by: inspector, for: Play}}"
TIGHT = "{id: t, title: T, tighten: {joint: j, stages: [{torque: ask}]}}"
HEAD = "joints: {j: {title: Cover, layout: '1 2', lubricant: ask}}\n"
WRONG, RIGHT = "manual p. 4", "bulletin 7"


def job(folder: Path, *operations: str, head: str = "") -> Script:
    script = Script(folder, procedure_with(*operations, head=head))
    script.do_all(open_intent(), intent("start", operation="t" if operations[0] == TIGHT else "m"))
    return script


def given(value: str, source: str = WRONG, **fields: object) -> Json:
    return {"intent": "figure", "value": value, "from": source, **fields}


def seq(script: Script, kind: str = "figure-given") -> int:
    return int([line["seq"] for line in script.log() if line["kind"] == kind][-1])


def corrected(event: int, **fields: str) -> Json:
    """A correction. ``source`` is its `from`."""
    more = {"from" if key == "source" else key: text for key, text in fields.items()}
    return intent("correct", event=event, reason="wrong document", **more)


def traced(script: Script) -> list[tuple[str, str]]:
    """The figure and the source of each limit of `play` in the job."""
    found = trace_figures(LogFiles((script.path,)), FigureQuestion(figure="play"), read_procedure)
    return [(each.text, each.source) for each in found.figures]


def test_corrected_source_counts_in_log_text_sheet_and_trace_and_changes_no_verdict(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED)
    script.do_all(given("at most 1 mm", name="play"), intent("record", name="play", value="0.5 mm"))
    answer = script.send(corrected(seq(script), source=RIGHT))[0]
    assert [line["kind"] for line in answer["events"]] == ["corrected"]
    data = answer["events"][0]["data"]
    assert (data["source"], "figure" in data, "quantity" in data) == (RIGHT, False, False)
    script.audited()
    lines = read(script.path.read_bytes()).lines
    text = "\n".join(history_text(lines, plan_from_log(lines, read_procedure)))
    assert f"source: {WRONG}" in text  # the old one stays in the log
    said = f"(limit of play) CORRECTED to source: {RIGHT}; reason: wrong document"
    assert said in text
    sheet = build_sheet_markdown(build_sheet(load_log(script.path, read_procedure)))
    assert f"at most 1 mm (source: {RIGHT})" in sheet
    assert said in sheet
    assert f"(source: {WRONG})" not in sheet
    assert traced(script) == [("at most 1 mm", RIGHT)]


def test_figure_and_source_are_corrected_together_and_one_after_the_other(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED)
    script.do_all(given("at most 1 mm", name="play"), intent("record", name="play", value="0.5 mm"))
    script.do_all(corrected(seq(script), source=RIGHT, value="at most 0.4 mm"))
    assert traced(script) == [("at most 0.4 mm", RIGHT)]
    script.do_all(corrected(seq(script, "corrected"), value="at most 0.6 mm"))
    assert traced(script) == [("at most 0.6 mm", RIGHT)]
    script.do_all(corrected(seq(script, "corrected"), source=WRONG))
    assert traced(script) == [("at most 0.6 mm", WRONG)]
    script.audited()


def test_same_figure_in_another_spelling_is_one_figure_in_trace(tmp_path: Path) -> None:
    jobs = []
    for number, value in enumerate(("0.1 .. 0.2 mm", "0.1..0.2 millimetres", "0.10 .. 0.20 mm", "0.15 mm", "0.150 mm")):
        (tmp_path / str(number)).mkdir()
        jobs.append(job(tmp_path / str(number), ASKED))
        jobs[-1].do_all(given(value, source="manual p.4" if number == 1 else WRONG, name="play"))
    logs = LogFiles(tuple(script.path for script in jobs))
    found = trace_figures(logs, FigureQuestion(figure="play"), read_procedure)
    shown = [(each.text, len(each.open)) for each in found.figures]
    assert shown == [("0.1 .. 0.2 mm", 3), ("0.15 mm", 1), ("0.150 mm", 1)]  # one quantity has a band by its digits


def test_deviation_from_a_limit_stays_when_only_the_source_of_the_limit_was_wrong(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED.replace(", hold: {by: inspector, for: Play}", ""))
    script.do_all(given("at most 1 mm", name="play"), intent("record", name="play", value="2 mm"))
    deviation = intent("deviate", operation="m", about="play", reason="agreed")
    script.do_all(deviation, corrected(seq(script), source=RIGHT), intent("finish", operation="m"))
    script.audited()


def test_source_of_a_stage_is_corrected_and_its_ticks_stay(tmp_path: Path) -> None:
    script = job(tmp_path, TIGHT, head=HEAD)
    script.do_all({"intent": "figure", "joint": "j", "lubricant": "dry", "from": WRONG})
    lubricant = seq(script)
    script.do_all(given("10 N·m", joint="j", stage=1), intent("tick", joint="j", fastener=1))
    answer = script.send(corrected(seq(script), source=RIGHT))[0]
    assert [line["kind"] for line in answer["events"]] == ["corrected"]
    script.do_all(corrected(lubricant, source="tube"))  # the lubricant itself could not be corrected any more
    assert script.refused("correct", event=seq(script, "corrected"), value="oil", reason="x") == ["not-allowed"]
    script.do_all(intent("tick", joint="j", fastener=2), intent("finish", operation="t"))
    script.audited()
    sheet = build_sheet_markdown(build_sheet(load_log(script.path, read_procedure)))
    assert RIGHT in sheet
    assert WRONG not in sheet.split("Out of the ordinary")[0]


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({}, "value-missing"),
        ({"from": " "}, "value-missing"),
        ({"from": WRONG}, "value-missing"),
        ({"from": RIGHT, "value": "ask"}, "value-missing"),
        ({"from": RIGHT, "value": "5 kg"}, "wrong-dimension"),
    ],
)
def test_correction_that_corrects_nothing_or_cannot_be_read_is_refused(tmp_path: Path, fields: Json, code: str) -> None:
    script = job(tmp_path, ASKED)
    script.do_all(given("at most 1 mm", name="play"))
    assert script.refused("correct", event=seq(script), reason="wrong document", **fields) == [code]


def test_reading_has_no_source_to_correct(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED)
    script.do_all(given("at most 1 mm", name="play"), intent("record", name="play", value="0.5 mm"))
    wrong = {"event": seq(script, "recorded"), "reason": "misread"}
    assert script.refused("correct", value="0.6 mm", **{"from": RIGHT}, **wrong) == ["not-allowed"]
    assert script.refused("correct", **wrong) == ["value-missing"]


@pytest.mark.parametrize("name", ["End float of the shaft", "Cover bolts stage 1", "Cover bolts, stage 1"])
def test_figure_is_traced_by_its_words_on_the_screen(tmp_path: Path, name: str) -> None:
    first = "{id: m, title: M, record: {play: {ask: End float of the shaft, unit: mm, limit: at most 1 mm}}}"
    second = "{id: t, title: T, tighten: {joint: j, stages: [9 N·m]}}"
    script = job(tmp_path, first, second, head="joints: {j: {title: Cover bolts, layout: '1 2'}}\n")
    found = trace_figures(LogFiles((script.path,)), FigureQuestion(figure=name), read_procedure)
    assert [each.text for each in found.figures] == ["at most 1 mm" if name.startswith("End") else "9 N·m"]
