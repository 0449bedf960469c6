"""Where a figure comes from is shown at the bench, on both sheets and on the printed order. All figures are invented.

The rule is `procedure-format.md`, "Where a number comes from": under `why` and beside the figure.
"""

from pathlib import Path

from benchflow.ordering.pictures.order_sheet import OrderSheet, lay_out
from benchflow.procedure.expand import expand
from benchflow.review.log.loaded_log import load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_html import build_sheet_html
from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown, customer_copy_markdown
from benchflow.review.sheets.customer_copy import customer_copy
from benchflow.review.sheets.order_sheet_page import order_sheet_page
from benchflow.review.sheets.order_sheet_text import order_sheet_text
from tests.driving.script import intent, read_procedure
from tests.driving.session_driver import load_text
from tests.driving.small_head import start_session
from tests.driving.sourced_cover import PROCEDURE, measure, open_cover, tighten
from tests.tui.app_driver import drive_app

MANUAL = "Workshop manual, edition 3, 2024-05-01"
BULLETIN = "Stud supplier's sheet, edition 2025-02"


def test_why_answers_with_the_figures_and_their_sources(tmp_path: Path) -> None:
    script = open_cover(tmp_path)
    (reply,) = script.send(intent("why", operation="measure"))
    rows = {row["name"]: (row["text"], row["source"], row["own_choice"]) for row in reply["figures"]}
    assert rows == {
        "gap": ("0.10 .. 0.28 mm", f"{MANUAL}: p. 4-21", False),
        "play": ("at most 0.30 mm", "own choice, because the shaft is new", True),
        "width": ("at most 9 mm", f"{MANUAL}: chapter 4", False),
        "gasket": ("at least 0 mm, up to 1 mm: thin; above 1 mm: thick", f"{BULLETIN}: table 3", False),
    }


def test_figure_given_at_the_bench_has_the_document_that_it_names(tmp_path: Path) -> None:
    script = open_cover(tmp_path)
    measure(script)
    tighten(script)
    (reply,) = script.send(intent("why", operation="tighten"))
    rows = {row["name"]: (row["text"], row["source"]) for row in reply["figures"]}
    assert rows["head-nuts stage 1"] == ("10 N·m", f"{BULLETIN}: p. 1")
    assert rows["head-nuts stage 2"] == ("20 N·m", "own choice")
    assert rows["head-nuts stage 3"] == ("33 N·m", f"{BULLETIN}: p. 3")
    assert rows["time since measure"] == ("at most 24 h", f"{BULLETIN}: p. 7")


async def test_bench_shows_the_source_beside_the_limit_and_under_why(tmp_path: Path) -> None:
    driver = start_session(tmp_path, PROCEDURE, options={}, start={})
    driver.do("start", operation="measure")
    async with drive_app(driver.controller) as bench:
        assert "p. 4-21" in bench.text
        await bench.press("w")
        page = " ".join(bench.text.split())
        assert "play: at most 0.30 mm own choice, because the shaft is new" in page
        assert f"All others: {MANUAL}: chapter 4" in page


def test_shops_copy_has_the_source_beside_each_figure_of_its_own(tmp_path: Path) -> None:
    script = open_cover(tmp_path)
    measure(script)
    tighten(script)
    sheet = build_sheet(load_log(script.path, read_procedure))
    text = build_sheet_markdown(sheet)
    assert f"limit 0.10 .. 0.28 mm (source: {MANUAL}: p. 4-21), ok" in text
    assert "limit at most 0.30 mm (source: own choice, because the shaft is new), ok" in text
    assert "limit at most 9 mm, ok" in text  # the source of all numbers is at the top
    assert f"gasket: thin (source: {BULLETIN}: table 3)" in text
    assert f"10 N·m (source: {BULLETIN}: p. 1), 20 N·m (source: own choice), 33 N·m (source: {BULLETIN}: p. 3)" in text
    assert f"| Numbers from | {MANUAL}: chapter 4 |" in text
    assert f"| Other documents | {BULLETIN} |" in text
    assert f"(source: {MANUAL}: p. 4-21)" in build_sheet_html(sheet)


def test_customers_copy_marks_an_own_choice(tmp_path: Path) -> None:
    script = open_cover(tmp_path)
    measure(script)
    tighten(script)
    log = load_log(script.path, read_procedure)
    text = customer_copy_markdown(customer_copy(log, build_sheet(log)))
    assert "| Measure: Play | 0.25 mm | at most 0.30 mm (own choice) |" in text
    assert "20 N·m (14.8 ft-lb) (source: own choice)" in text


def test_printed_order_has_the_sources() -> None:
    procedure = load_text(PROCEDURE).procedure
    assert procedure is not None
    made = lay_out(expand(procedure, {}), {})
    assert isinstance(made, OrderSheet)
    text = " ".join(" ".join(order_sheet_text(order_sheet_page(made))).split())
    assert f"Source of the numbers: {MANUAL}: chapter 4" in text
    assert f"limit 0.10 .. 0.28 mm (source: {MANUAL}: p. 4-21)" in text
    assert f"gasket, by gap (source: {BULLETIN}: table 3)" in text
    assert f"Finish at most 24 h after the end of 1 (source: {BULLETIN}: p. 7)" in text
    assert "2. 20 N·m (source: own choice):" in text
