"""The build sheet has everything that the log has, and is readable without a network."""

import base64
import json
import re
import shutil
import subprocess
from pathlib import Path

import msgspec
import pytest
from markdown_it import MarkdownIt

from benchflow.review.evidence.assessment import review_everything
from benchflow.review.evidence.weights import WEAK_POINT_KINDS
from benchflow.review.log.loaded_log import load_log
from benchflow.review.sheets import out_of_the_ordinary
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_html import build_sheet_html
from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown
from benchflow.review.sheets.customer_copy import customer_copy
from benchflow.review.sheets.customer_copy_html import customer_copy_html
from benchflow.review.sheets.letterhead import LetterheadOnSheet, logo_data_uri
from benchflow.review.sheets.sheet_content import BuildSheet
from tests.driving.simulated_builder import Faults, SimulatedBuilder
from tests.review.played_builds import BEGIN, FLOAT, FLOAT_NAME, folder, head_install, loaded_build, played, read

FAULTS = Faults(near_limit=FLOAT, self_signed="mark-nuts", reworked="fit-pulley", late="set-head-down")
PICTURE = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)
"""A PNG picture of one pixel."""
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="module")
def sheet() -> BuildSheet:
    return build_sheet(loaded_build(3, FAULTS, with_tools=True))


def test_sheet_has_every_operation_in_the_order_of_the_procedure(sheet: BuildSheet) -> None:
    operations = [operation for section in sheet.sections for operation in section.operations]
    assert [operation.operation for operation in operations] == list(
        loaded_build(3, FAULTS, with_tools=True).plan.steps
    )
    assert all(operation.done and operation.by and operation.at for operation in operations)


def test_every_fastener_is_drawn_in_its_layout_with_its_torque_and_angles(sheet: BuildSheet) -> None:
    operation = next(o for s in sheet.sections for o in s.operations if o.operation == "tighten-head")
    assert operation.joint is not None
    assert len(operation.joint.fasteners) == 10
    assert {(fastener.text, fastener.status) for fastener in operation.joint.fasteners} == {
        ("55 N·m +60° +45°", "done")
    }
    assert operation.joint.tools[1].startswith("stage 2, 55 N·m (41 ft-lb): 10 with TW-A, R. Builder, 2026-03-0")


def test_gauge_shows_a_reading_on_its_limit(sheet: BuildSheet) -> None:
    value = next(v for s in sheet.sections for o in s.operations for v in o.values if v.name == FLOAT_NAME)
    assert value.gauge is not None
    assert value.gauge.low is not None
    assert value.gauge.high is not None
    assert value.gauge.value is not None
    assert value.gauge.high - 0.03 < value.gauge.value <= value.gauge.high
    assert value.verdict == "ok"


def test_deviations_are_listed_first_with_names(sheet: BuildSheet) -> None:
    text = "\n".join(sheet.exceptions)
    assert "deviation from the time window, signed by R. Builder: The phone rang." in text
    assert "the builder signed the hold point for their own work" in text
    assert "reworked, " in text
    assert "None. Every operation" not in build_sheet_html(sheet)
    assert "None. Every operation" in build_sheet_html(build_sheet(loaded_build(3, with_tools=True)))


def test_sheet_lists_every_step_that_the_review_suspects_and_no_line_twice() -> None:
    log = loaded_build(3, FAULTS, with_tools=True)
    lines = build_sheet(log).exceptions
    assert len(set(lines)) == len(lines)
    listed = {line.split("  ")[0] for line in lines}
    suspects = {str(log.plan.number(found.operation)) for found in review_everything(log).guards if found.suspect}
    assert suspects - listed == set()
    assert any(" near a limit, " in line for line in lines)  # nothing was signed or reworked there


def test_kinds_that_the_recorded_lines_state_are_kinds_of_weak_points() -> None:
    sets = [kinds for kinds in vars(out_of_the_ordinary).values() if isinstance(kinds, frozenset)]
    stated = {kind for kinds in sets for kind in kinds}
    assert stated
    assert stated <= {kind.kind for kind in WEAK_POINT_KINDS}


def test_follow_ups_are_due_counted_from_the_close(sheet: BuildSheet) -> None:
    closed = loaded_build(3, FAULTS, with_tools=True).facts.session.closed_at
    assert closed is not None
    dated = [item for item in sheet.follow_up if item.due]
    assert dated
    assert all(item.due > closed[:10] for item in dated)


def test_lots_and_instruments_are_listed_including_unnamed_ones(sheet: BuildSheet) -> None:
    assert any(row[1].startswith("lot L-") for row in sheet.parts)
    assert "TW-A" in {row[1] for row in sheet.instruments}
    assert {row[1] for row in build_sheet(loaded_build(3)).instruments} == {"not named"}


def test_instruments_have_the_calibration_at_the_time_of_use() -> None:
    rows = {row[1]: row for row in build_sheet(loaded_build(3, with_tools=True)).instruments}
    assert rows["TW-A"][2:4] == ("2025-11-03", "2026-11-03")


def test_sheet_shows_if_the_log_is_intact_and_its_fingerprint(sheet: BuildSheet) -> None:
    whole = build_sheet_html(sheet)
    assert "The log is intact." in whole
    assert all(sheet.head[start : start + 8] in whole for start in range(0, 64, 8))
    damaged = folder() / "damaged-sheet.jsonl"
    damaged.write_bytes(played(3).read_bytes().replace(b'"fastener":3', b'"fastener":4', 1))
    broken = build_sheet_html(build_sheet(load_log(damaged, read())))
    assert "THE LOG IS DAMAGED." in broken
    assert "The log is intact." not in broken


HOSTILE = '<script>alert(1)</script> [x](http://evil.invalid) | ` \x1b]52;c;aGk=\x07 \u202eabc "quoted" {{ 7*7 }}'


@pytest.fixture(scope="module")
def hostile() -> BuildSheet:
    log = folder() / "hostile.jsonl"
    if not log.exists():
        sim_builder = SimulatedBuilder(head_install(), log, seed=9, begin=BEGIN, read=read(), builder=HOSTILE)
        sim_builder.send({"intent": "open", "unit": HOSTILE, "options": {"cams": "standard", "gasket": "composite"},
                     "start": {"pistons": "down"}})  # fmt: skip
        sim_builder.do_next_on_route("make-safe")
        sim_builder.send({"intent": "note", "text": HOSTILE})
        sim_builder.send({"intent": "close", "unfinished": HOSTILE})
        sim_builder.controller.close()
    return build_sheet(load_log(log, read()))


def test_text_from_a_log_is_never_markup_or_a_control_sequence(hostile: BuildSheet) -> None:
    page = build_sheet_html(hostile)
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "{{ 7*7 }}" in page
    for text in (page, build_sheet_markdown(hostile)):
        assert "\x1b" not in text
        assert "\u202e" not in text
    rendered = MarkdownIt("commonmark").enable("table").render(build_sheet_markdown(hostile))
    assert "<script" not in rendered
    assert "<a " not in rendered


def test_page_refers_to_no_other_file(sheet: BuildSheet) -> None:
    page = build_sheet_html(sheet)
    without_names = page.replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert not re.search(r"https?://|\bsrc=|\bhref=|url\(|@import|<script|<link|<iframe|<object", without_names)


def test_markdown_has_the_content_of_the_page(sheet: BuildSheet) -> None:
    text = build_sheet_markdown(sheet)
    tables = MarkdownIt("commonmark").enable("table").render(text)
    assert tables.count("<table>") >= 3
    for operation in (o for s in sheet.sections for o in s.operations):
        assert f"### {operation.number}  {operation.title}" in text
    assert sheet.head in text


def test_sheet_can_be_written_as_json(sheet: BuildSheet) -> None:
    assert msgspec.convert(json.loads(msgspec.json.encode(sheet)), BuildSheet) == sheet


# --- in a real browser ------------------------------------------------------------------------------

OWN_TRAFFIC_OFF = (
    "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--host-resolver-rules=MAP * ~NOTFOUND", "--hide-scrollbars",
)  # fmt: skip


def requested_addresses(page: str, tmp_path: Path, *arguments: str) -> list[str]:
    """The addresses that a browser requests while it shows the page, without the page itself."""
    source, log = tmp_path / "page.html", tmp_path / "net.json"
    source.write_text(page, encoding="utf-8")
    assert CHROMIUM is not None
    command = [CHROMIUM, *OWN_TRAFFIC_OFF, f"--user-data-dir={tmp_path / 'profile'}", f"--log-net-log={log}"]
    subprocess.run([*command, *arguments, source.as_uri()], check=True, capture_output=True, timeout=90)
    net = json.loads(log.read_text(encoding="utf-8"))
    started = net["constants"]["logEventTypes"]["URL_REQUEST_START_JOB"]
    asked = (event.get("params", {}) for event in net["events"] if event["type"] == started)
    # Requests of the browser itself have no page as initiator.
    return [one["url"] for one in asked if str(one.get("initiator", "")).startswith(("file:", "null"))]


@pytest.mark.skipif(CHROMIUM is None, reason="no chromium: install Debian's package chromium")
def test_page_makes_no_request_in_a_real_browser(sheet: BuildSheet, tmp_path: Path) -> None:
    picture = tmp_path / "sheet.png"
    assert (
        requested_addresses(build_sheet_html(sheet), tmp_path, "--window-size=900,3000", f"--screenshot={picture}")
        == []
    )
    assert picture.stat().st_size > 50_000  # the page was drawn
    no_policy = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", build_sheet_html(sheet))
    leaking = no_policy.replace("</body>", '<img src="http://leak.invalid/x.png"></body>')
    assert requested_addresses(leaking, tmp_path, f"--screenshot={picture}") == [
        "http://leak.invalid/x.png"
    ]  # a request is detected


@pytest.mark.skipif(CHROMIUM is None, reason="no chromium: install Debian's package chromium")
def test_page_can_be_printed_to_pdf(sheet: BuildSheet, tmp_path: Path) -> None:
    paper = tmp_path / "sheet.pdf"
    assert (
        requested_addresses(build_sheet_html(sheet), tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={paper}")
        == []
    )
    assert 4 <= pages_of(paper) <= 16


@pytest.mark.skipif(CHROMIUM is None, reason="no chromium: install Debian's package chromium")
def test_customer_copy_of_a_head_installation_prints_on_two_pages(sheet: BuildSheet, tmp_path: Path) -> None:
    logo = tmp_path / "logo.png"
    logo.write_bytes(PICTURE)
    letterhead = LetterheadOnSheet("An invented bench", ("12 Quay Road",), "01234 567890", "", logo_data_uri(logo))
    page = customer_copy_html(customer_copy(loaded_build(3, FAULTS, with_tools=True), sheet, letterhead))
    paper = tmp_path / "copy.pdf"
    printed = requested_addresses(page, tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={paper}")
    assert [one for one in printed if not one.startswith("data:")] == []
    assert pages_of(paper) == 2


def pages_of(paper: Path) -> int:
    return len(re.findall(rb"/Type\s*/Page\b", paper.read_bytes()))
