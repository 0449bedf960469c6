"""A figure given at the bench keeps its own source, and an edition that was typed stays as typed. Invented data.

The rule is `procedure-format.md`, "Where a number comes from": each figure has its source. No source outside.
"""

from pathlib import Path

import pytest

from benchflow.procedure.figure_sources import parse_source, source_of
from benchflow.review.log.loaded_log import load_log
from benchflow.review.many.figure_search import FigureQuestion, trace_figures
from benchflow.review.many.log_scan import LogFiles
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown, customer_copy_markdown
from benchflow.review.sheets.customer_copy import customer_copy
from tests.driving.script import Json, Script, intent, open_intent, read_procedure
from tests.driving.session_driver import load_text

PROCEDURE = """\
benchflow: 1
id: cover
title: Cover, invented
revision: "A"
documents:
  manual: {title: Manual of the invented pump, edition: "2", date: 2025-03-01}
  bulletin: {title: Bulletin of the invented seal maker, edition: A}
source: manual
joints:
  bolts: {title: Cover bolts, layout: "1 2", thread: M6x1, lubricant: ask}
sections:
  - id: all
    title: All
    operations:
      - id: m
        title: Measure
        record:
          play:
            unit: mm
            limit: ask
            also: [{title: Taper, judge: spread, limit: at most 0.02 mm}]
            readings: 2
      - id: t
        title: Tighten the cover
        after: [m]
        tighten: {joint: bolts, stages: [12 Nm, {torque: 24 Nm, source: bulletin p. 1}]}
"""
MANUAL = "Manual of the invented pump, edition 2, 2025-03-01"
BULLETIN = "Bulletin of the invented seal maker, edition A"


def given(source: str, **fields: object) -> Json:
    return {"intent": "figure", "from": source, **fields}


def job(folder: Path, lubricant: str = "bulletin p. 9", limit: str = "manual p. 4-9", unit: str = "P1") -> Script:
    """A finished cover whose lubricant and limit were given at the bench with these sources."""
    folder.mkdir(exist_ok=True)
    script = Script(folder, PROCEDURE)
    script.do_all(
        open_intent(unit=unit), intent("start", operation="m"),
        given(limit, name="play", value="0.05 .. 0.15 mm"),
        *(intent("record", name="play", reading=str(number), value="0.10 mm") for number in (1, 2)),
        given(lubricant, joint="bolts", lubricant="dry"),
        intent("finish", operation="m"), intent("start", operation="t"),
    )  # fmt: skip
    for stage in (1, 2):
        for fastener in (1, 2):
            script.do_all(intent("tick", joint="bolts", fastener=fastener, stage=stage))
    script.do_all(intent("finish", operation="t"), intent("close", by="Robin"))
    return script


def sheets(script: Script) -> tuple[str, str]:
    """The copies of the sheet for the shop and for the customer."""
    log = load_log(script.path, read_procedure)
    sheet = build_sheet(log)
    return build_sheet_markdown(sheet), customer_copy_markdown(customer_copy(log, sheet))


def test_sheet_names_the_lubricant_of_the_bench_and_leaves_the_stages_their_source(tmp_path: Path) -> None:
    shop, customer = sheets(job(tmp_path))
    assert f"lubricant given at the bench: dry (source: {BULLETIN}: p. 9)" in shop
    for text in (shop, customer):
        assert "lubricant by the procedure" not in text
        assert text.count("p. 9") <= 1  # beside the lubricant only
        assert "12 Nm (source" not in text
        assert "12 Nm" in text
        assert f"(source: {BULLETIN}: p. 1)" in text


def test_why_and_trace_have_the_lubricant_with_its_source_and_the_stage_with_its_own(tmp_path: Path) -> None:
    script = job(tmp_path)
    (reply,) = script.send(intent("why", operation="t"))
    rows = {row["name"]: (row["text"], row["source"]) for row in reply["figures"]}
    assert rows["bolts (lubricant)"] == ("dry", f"{BULLETIN}: p. 9")
    assert rows["bolts stage 1"] == ("12 Nm", MANUAL)
    found = trace_figures(LogFiles((script.path,)), FigureQuestion("", "bulletin"), read_procedure).figures
    assert [(one.figure, one.text) for one in found] == [("bolts (lubricant)", "dry"), ("bolts stage 2", "24 Nm")]


def test_further_limit_of_the_file_does_not_take_the_source_of_the_limit_that_was_given(tmp_path: Path) -> None:
    (reply,) = job(tmp_path, limit="bulletin p. 7").send(intent("why", operation="m"))
    rows = {row["name"]: (row["text"], row["source"]) for row in reply["figures"]}
    assert rows == {
        "play": ("0.05 .. 0.15 mm", f"{BULLETIN}: p. 7"), "play (Taper)": ("at most 0.02 mm", MANUAL)
    }  # fmt: skip


def test_limit_for_used_parts_that_was_given_keeps_its_own_source(tmp_path: Path) -> None:
    text = PROCEDURE.replace("limit: ask\n", "limit: 0.05 .. 0.15 mm\n            used: ask\n")
    script = Script(tmp_path, text)
    script.do_all(open_intent(), given("bulletin p. 8", name="play", used=True, value="at most 0.25 mm"))
    (reply,) = script.send(intent("why", operation="m"))
    rows = [(row["name"], row["text"], row["source"]) for row in reply["figures"] if "Taper" not in row["name"]]
    assert rows == [
        ("play", "0.05 .. 0.15 mm", MANUAL), ("play", "at most 0.25 mm", f"{BULLETIN}: p. 8")
    ]  # fmt: skip


OTHER = "another edition than the procedure's"


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("manual p. 4-9", f"{MANUAL}: p. 4-9"),
        ("manual ed. 2 p. 4-9", f"{MANUAL}: p. 4-9"),
        ("manual, edition 2, p. 4-9", f"{MANUAL}: p. 4-9"),
        ("manual 2nd edition p. 4-9", f"{MANUAL}: p. 4-9"),
        ("manual 2025-03-01 p. 4-9", f"{MANUAL}: p. 4-9"),
        ("manual 2025 p. 4-9", f"{MANUAL}: p. 4-9"),
        ("manual ed. 1 p. 4-9", f"manual ed. 1 p. 4-9 ({OTHER})"),
        ("manual, 1st ed., p. 4-9", f"manual, 1st ed., p. 4-9 ({OTHER})"),
        ("manual p. 4-9, ed. 1", f"manual p. 4-9, ed. 1 ({OTHER})"),
        ("manual (edition 1) p. 4-9", f"manual (edition 1) p. 4-9 ({OTHER})"),
        ("manual rev. B p. 4", f"manual rev. B p. 4 ({OTHER})"),
        ("manual 2019 p. 4", f"manual 2019 p. 4 ({OTHER})"),
        ("manual 2019-05 p. 4", f"manual 2019-05 p. 4 ({OTHER})"),
        ("bulletin ed. a p. 1", f"{BULLETIN}: p. 1"),
        ("manual 20", f"{MANUAL}: 20"),
        ("manual p. 1999", f"{MANUAL}: p. 1999"),
        ("manual edition of the shop", "manual edition of the shop"),
        ("manual 1.5 ed. 2", f"{MANUAL}: 1.5"),
    ],
)
def test_edition_that_was_typed_is_never_replaced_by_that_of_the_document(typed: str, shown: str) -> None:
    procedure = load_text(PROCEDURE).procedure
    assert procedure is not None
    assert parse_source(typed, procedure).shown == shown


def test_document_without_an_edition_keeps_the_edition_that_was_typed() -> None:
    procedure = load_text(PROCEDURE.replace(', edition: "2", date: 2025-03-01', "")).procedure
    assert procedure is not None
    found = source_of(procedure, "manual ed. 1 p. 4-9")
    assert found is not None
    assert found.shown == "Manual of the invented pump: ed. 1 p. 4-9"


def test_trace_groups_by_the_edition_that_was_typed(tmp_path: Path) -> None:
    old = job(tmp_path / "1", limit="manual ed. 1 p. 4-9")
    new = job(tmp_path / "2", limit="manual ed. 2 p. 4-9", unit="P2")
    question = FigureQuestion("", "manual")
    found = trace_figures(LogFiles((old.path, new.path)), question, read_procedure).figures
    rows = [(one.document, one.edition, one.source) for one in found if one.figure == "play"]
    assert rows == [
        ("manual", "1", f"manual ed. 1 p. 4-9 ({OTHER})"), ("manual", "2", f"{MANUAL}: p. 4-9")
    ]  # fmt: skip


def test_file_that_names_another_edition_than_its_document_gets_a_note() -> None:
    text = PROCEDURE.replace("source: bulletin p. 1", "source: bulletin ed. C p. 1")
    (note,) = [one for one in load_text(text).problems if one.code == "other-edition"]
    assert note.severity == "note"
    assert note.message == "The source “bulletin ed. C p. 1” names the edition C, but `documents` has A"
