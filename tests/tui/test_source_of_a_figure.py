"""The source of a figure at the bench: documents by one key, the own choice, drafts, and its correction. Invented data.

The promises are those of `bench-screen.md` (7: nothing is lost) and of `authoring.md` 5 (own choice).
"""

from pathlib import Path

import pytest

from benchflow.procedure.model import Procedure
from benchflow.session.view.offered_sources import offered_sources, source_remark, with_offered
from benchflow.tui.widgets.canvas import Canvas
from tests.driving.session_driver import load_text
from tests.driving.small_head import start_session
from tests.tui.app_driver import drive_app

TEXT = """\
benchflow: 1
id: asked
title: Asked
revision: "1"
documents:
  manual: {title: Workshop manual, edition: "3"}
  bulletin: Stud supplier's sheet
sections:
- title: All
  operations:
  - {id: m, title: M, record: {play: {ask: Measure the play, unit: mm, limit: ask}, gap: {unit: mm, limit: ask}}}
"""


async def test_documents_are_put_in_by_one_key_and_the_last_one_comes_first(tmp_path: Path) -> None:
    driver = start_session(tmp_path, TEXT, options={}, start={})
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        assert "manual    Workshop manual, edition 3" in bench.text
        await bench.type("at most 1 mm\n")
        await bench.press("f2", "f2")
        await bench.type("p. 4\n")
        assert bench.last_of("figure-given")["source"] == "bulletin p. 4"
        await bench.type("0.5\n")
        await bench.press("enter")
        await bench.type("at most 1 mm\n")
        await bench.press("f2")
        assert bench.field == "bulletin "


async def test_document_without_a_page_is_asked_for_it_once(tmp_path: Path) -> None:
    driver = start_session(tmp_path, TEXT, options={}, start={})
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        await bench.type("at most 1 mm\nmanual\n")
        assert "figure-given" not in bench.kinds
        assert "On which page of manual?" in bench.text
        await bench.type(" p. 4\n")
        assert bench.last_of("figure-given")["source"] == "manual p. 4"
        await bench.type("0.5\n")
        await bench.press("enter")
        await bench.type("at most 1 mm\nbulletin\n")
        assert bench.kinds.count("figure-given") == 1
        await bench.type("\n")  # it has no pages
        assert bench.last_of("figure-given")["source"] == "bulletin"


async def test_limit_of_one_quantity_is_asked_about_once(tmp_path: Path) -> None:
    """A manual that prints "not more than 0.1 mm" means no low end: common practice, no source."""
    driver = start_session(tmp_path, TEXT, options={}, start={})
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        await bench.type("0.1 mm\nmanual p. 4\n")
        assert "figure-given" not in bench.kinds
        assert "0.1 mm alone means 0.05 .. 0.15 mm" in bench.text
        await bench.type("\n")
        assert bench.last_of("figure-given")["figure"] == "0.1 mm"


async def test_source_that_the_procedure_names_comes_first(tmp_path: Path) -> None:
    text = TEXT.replace("limit: ask}, gap", "limit: ask, source: manual p. 4-21}, gap")
    driver = start_session(tmp_path, text, options={}, start={})
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        assert "manual p. 4-21  as the procedure says" in bench.text
        await bench.type("at most 1 mm\n")
        await bench.press("f2")
        assert bench.field == "manual p. 4-21 "
        await bench.press("f2")
        assert bench.field == "manual "
        await bench.type("p. 5\n")
        assert bench.last_of("figure-given")["source"] == "manual p. 5"


async def test_own_choice_needs_its_reason_and_is_marked_at_the_bench(tmp_path: Path) -> None:
    driver = start_session(tmp_path, TEXT, options={}, start={})
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        await bench.type("at most 1 mm\n")
        await bench.press("f2", "f2", "f2", "enter")
        assert "figure-given" not in bench.kinds
        assert "Type the reason" in bench.text
        await bench.type("the printed one is for new parts\n")
        source = "own choice, because the printed one is for new parts"
        assert bench.last_of("figure-given")["source"] == source
        roles = {role for line in bench.screen.query_one(Canvas).lines for text, role in line if "own choice" in text}
        assert roles == {"attention"}  # it stands out


async def test_typed_figure_is_kept_as_a_draft_of_that_figure_only(tmp_path: Path) -> None:
    driver = start_session(tmp_path, TEXT, options={}, start={})
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        await bench.type("at most 1 mm\n")
        await bench.press("escape", "down", "enter")
        assert "Gap: limit" in bench.text
        assert bench.field == ""
        await bench.press("escape", "up", "enter", "up")
        assert bench.field == "at most 1 mm"


async def test_wrong_figure_is_refused_and_selected_again(tmp_path: Path) -> None:
    driver = start_session(tmp_path, TEXT, options={}, start={})
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        await bench.type("0,10 .. 0,20 mm\nmanual p. 3\n")
        assert "figure-given" not in bench.kinds
        assert "Write 0.10" in bench.text
        assert bench.field == "0,10 .. 0,20 mm"


async def test_source_is_corrected_at_the_bench_without_typing_the_figure_again(tmp_path: Path) -> None:
    driver = start_session(tmp_path, TEXT, options={}, start={})
    driver.send({"intent": "figure", "name": "play", "value": "at most 1 mm", "from": "manual p. 3"})
    async with drive_app(driver.controller) as bench:
        await bench.press("c", "enter")
        assert "Source: manual p. 3" in bench.text
        await bench.press("enter")
        await bench.type("looked up again\n")
        assert "Nothing is changed" in bench.text
        await bench.press("f2")
        await bench.press("enter")
        assert bench.last_of("corrected")["source"] == "bulletin p. 3"
        assert "figure" not in bench.last_of("corrected")


async def test_correction_of_a_figure_says_what_it_reopens(tmp_path: Path) -> None:
    text = f"{TEXT}  - {{id: n, title: Next one}}\n"
    driver = start_session(tmp_path, text, options={}, start={})
    for name in ("play", "gap"):
        driver.send({"intent": "figure", "name": name, "value": "at most 1 mm", "from": "manual p. 3"})
    driver.do("start", operation="m")
    for name in ("play", "gap"):
        driver.do("record", name=name, value="0.5 mm")
    driver.do("finish")
    async with drive_app(driver.controller) as bench:
        await bench.press("c", "down", "down", "down", "enter")
        await bench.type("at most 0.4 mm")
        assert "This reopens 1 M." in bench.text


async def test_torque_that_breaks_the_fastener_is_asked_about_before_it_is_logged(tmp_path: Path) -> None:
    joint = "joints: {cover: {title: Cover, layout: 1 2, thread: M8, class: '8.8', lubricant: dry}}\nsections:"
    text = TEXT[: TEXT.index("  - {id: m")].replace("sections:", joint)
    text += "  - {id: t, title: T, tighten: {joint: cover, stages: [{torque: ask}]}}\n"
    driver = start_session(tmp_path, text, options={}, start={})
    driver.do("start", operation="t")
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        await bench.type("250 N·m\nmanual p. 3\n")
        assert "figure-given" not in bench.kinds
        assert "press Enter again" in bench.text
        await bench.press("enter", pause=0.1)
        assert "figure-given" not in bench.kinds  # a bounce
        await bench.press("up")
        for _ in range(7):
            await bench.press("backspace")
        await bench.type("25 N·m")
        await bench.press("enter")
        assert bench.last_of("figure-given")["figure"] == "25 N·m"
        await bench.press("c", "enter")
        await bench.type("250 N·m\nmisread\n")
        assert "corrected" not in bench.kinds
        await bench.press("enter")  # the source says so
        assert bench.last_of("corrected")["figure"] == "250 N·m"


@pytest.mark.parametrize(
    ("typed", "key", "becomes"),
    [
        ("", 0, "manual "),
        ("p. 4-21", 0, "manual p. 4-21 "),
        ("manual p. 4", 1, "bulletin p. 4 "),
        ("manuals of the shop", 1, "bulletin manuals of the shop "),
        ("Own choice, because it wears", 0, "manual it wears "),
        ("1998 handbook", 2, "own choice, because 1998 handbook "),
    ],
)
def test_offered_source_replaces_only_an_offered_one(typed: str, key: int, becomes: str) -> None:
    offered = offered_sources(_procedure())
    assert with_offered(typed, offered[key], offered) == becomes


def test_named_source_with_a_capital_letter_is_replaced_whole() -> None:
    offered = offered_sources(_procedure(), "Supplier's leaflet 12")
    assert with_offered("supplier's leaflet 12 p. 3", offered[1], offered) == f"{offered[1].words} p. 3 "


@pytest.mark.parametrize(
    ("typed", "remark"),
    [
        ("manual p. 4", ""),
        ("manual ed. 2 p. 4", "Another edition than the procedure's (3)"),
        ("manaul p. 4", "no document “manaul”. Is it manual?"),
        ("own choice, because", "Say why"),
        ("a letter of the maker", ""),
    ],
)
def test_doubtful_source_is_remarked_on_while_it_is_typed(typed: str, remark: str) -> None:
    found = source_remark(typed, _procedure())
    assert remark in found
    assert bool(remark) == bool(found)


def _procedure() -> Procedure:
    procedure = load_text(TEXT).procedure
    assert procedure is not None
    return procedure
