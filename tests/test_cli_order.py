"""The command ``order``."""

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest

from benchflow.procedure.reader import read_bytes
from tests.test_cli import Shell
from tests.test_cli_check import DEAD_END, HEAD, UNSAFE_ON_PAPER, VALVES

CYCLE = (
    HEAD
    + """\
sections:
- id: all
  title: All
  operations:
  - {id: first, title: First, after: [second]}
  - {id: second, title: Second, after: [first]}
"""
)
FULL = (
    VALVES
    + """\
notice: INVENTED for a test.
cautions: [{warning: A valve bends without a sound.}]
options:
  cams: {ask: Which cams?, choices: [standard, reground]}
kit:
  parts: {cam: {title: Intake cam, quantity: "1"}}
  consumables: {sealant: {title: Sealant, lot: required}}
instruments:
  wrench: {title: Click wrench, kind: torque, covers: 5 .. 50 N·m}
  gauge: {title: Gauge, kind: length, covers: 0 .. 1 mm}
joints:
  caps: {title: Cap bolts, thread: M6x1, pattern: "out from the middle, 2 by 2"}
moves:
  turn-down:
    title: Turn the crank down
    do: By hand.
    cautions: [{caution: The chain pinches.}]
    sets: {pistons: down}
sections:
- id: all
  title: All of it
  operations:
  - {id: seal, title: Seal the corners, uses: [sealant]}
  - id: seat-cam
    title: Seat the <cam> & oil it
    because: It is easily forgotten.
    after: [seal]
    needs: {pistons: down}
    during: {valves: open}
    time: {seal: at most 10 min}
    uses: [cam]
    do: |
      1. Oil it.
      2. Lay it in.
    tighten: {joint: caps, stages: [5 N·m, 9 N·m], with: wrench}
    check: [Free to turn]
  - id: measure
    title: Measure the lash
    when: {cams: reground}
    after: [seat-cam]
    record:
      lash: {ask: Lash, unit: mm, limit: 0.10 .. 0.20 mm, with: gauge, readings: [front, rear],
             above: [{do: Fit a thicker shim, redo: [seat-cam]}]}
    hold: {by: inspector, for: lash seen}
follow-up: [{title: Look for leaks, due: 14 d}]
"""
)


@pytest.fixture
def shell(tmp_path: Path) -> Shell:
    shell = Shell(tmp_path)
    files = {"dead": DEAD_END, "paper": UNSAFE_ON_PAPER, "full": FULL, "cycle": CYCLE}
    for name, text in files.items():
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "bad.yaml").write_text(FULL.replace("after:", "afer:"), encoding="utf-8")
    return shell


def test_example_procedure_has_no_mistakes() -> None:
    assert read_bytes(FULL.encode(), "full.yaml").problems == ()


def test_text_keeps_the_requested_width(shell: Shell) -> None:
    code, output, errors = shell.run("order", "full.yaml", "--width", "60")
    assert (code, errors) == (0, "")
    assert max(map(len, output.splitlines())) <= 60
    for text in ("INVENTED for a test", "Seat the <cam> & oil it", "needs     pistons down", "NEVER TOGETHER"):
        assert text in output
    assert "Measure the lash" not in output
    _, output, _ = shell.run("order", "full.yaml", "--option", "cams=reground")
    assert "Measure the lash" in output


def test_picture_and_sheet_are_written_to_files(shell: Shell) -> None:
    code, output, errors = shell.run("order", "head-install", "--svg", "head.svg")
    assert (code, output) == (0, "")
    assert "head.svg" in errors
    ElementTree.fromstring((shell.folder / "head.svg").read_text(encoding="utf-8"))
    code, output, _ = shell.run("order", "full.yaml", "--svg", "both.svg", "--sheet", "both.html")
    assert (code, output) == (0, "")
    assert (shell.folder / "both.svg").exists()
    assert (shell.folder / "both.html").exists()
    code, output, _ = shell.run("order", "full.yaml", "--svg", "-")
    assert code == 0
    assert output.startswith("<svg")


def test_json_is_one_object_with_the_graph(shell: Shell) -> None:
    code, output, errors = shell.run("order", "full.yaml", "--json")
    assert (code, errors) == (0, "")
    graph = json.loads(output)
    assert graph["procedure"] == "tiny"
    assert [operation["id"] for operation in graph["operations"]] == ["seal", "seat-cam"]
    assert graph["operations"][1]["after"] == ["seal"]
    assert graph["operations"][1]["needs"] == {"pistons": ["down"]}
    assert graph["moves"][0]["sets"] == {"pistons": "down"}
    assert graph["rules"][0]["operations"] == ["seat-cam"]


class PageText(HTMLParser):
    """Collects the text of a page, and the tags that would fetch or run something."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.active_tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = {name for name, _ in attrs}
        if tag in ("script", "link", "img", "iframe") or names & {"src", "href", "onload", "onclick"}:
            self.active_tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.texts.append(" ".join(data.split()))


def test_html_sheet_has_all_warnings_reasons_and_fields(shell: Shell) -> None:
    code, output, errors = shell.run("order", "full.yaml", "--sheet", "full.html", "--option", "cams=reground")
    assert (code, output) == (0, "")
    assert "full.html" in errors
    source = (shell.folder / "full.html").read_text(encoding="utf-8")
    page = PageText()
    page.feed(source)
    assert page.active_tags == []
    assert not re.search(r"url\(|@import", source)
    flowed = " ".join(text for text in page.texts if text)
    for text in (
        "INVENTED for a test.",
        "does not replace the maker's manual",
        "Paper does not block a wrong step",
        "A valve bends without a sound.",
        "Pistons at-deck",
        "Turn the crank down",
        "The chain pinches.",
        "Needed for line 3: Pistons must be down; now at-deck",
        "an open valve would reach them",
        "Seat the <cam> & oil it",
        "It is easily forgotten.",
        "Needs pistons down, since 2",
        "Finish at most 10 min after the end of 1",
        "finish not after",
        "finished at",
        "Cap bolts",
        "9 N·m",
        "Free to turn",
        "limit 0.10 .. 0.20 mm",
        "front",
        "then do 3 again, with a new sheet or at the bench",
        "inspector: lash seen",
        "lot:",
        "Look for leaks: 14 d",
    ):
        assert text in flowed, text


def test_text_sheet_has_the_same_content_in_the_width(shell: Shell) -> None:
    call = ("order", "full.yaml", "--text", "--option", "cams=reground", "--width", "70")
    code, output, errors = shell.run(*call)
    assert (code, errors) == (0, "")
    assert max(map(len, output.splitlines())) <= 70
    flowed = " ".join(output.split())
    for text in ("Paper does not block a wrong step", "does not replace the maker's manual", "[ ] Pistons at-deck",
                  "MOVE A: Turn the crank down", "FINISH NOT AFTER:", "front ________ mm", "HOLD inspector: lash seen",
                  "1. 5 N·m: 1[ ] 2[ ] 3[ ] 4[ ]"):  # fmt: skip
        assert text in flowed, text


def test_start_option_decides_which_moves_are_printed(shell: Shell) -> None:
    for start, turns in (("at-deck", ["seal", "turn-down", "seat-cam"]), ("down", ["seal", "seat-cam"])):
        code, output, _ = shell.run("order", "full.yaml", "--sheet", "--json", "--start", f"pistons={start}")
        made = json.loads(output)
        assert code == 0
        assert made["start"] == {"pistons": start, "valves": "shut"}
        assert [turn.get("step") or turn.get("move") for turn in made["turns"]] == turns


def test_sheet_includes_the_moves_that_make_the_order_safe(shell: Shell) -> None:
    code, output, _ = shell.run("order", "paper.yaml", "--text")
    assert code == 0
    assert output.index("Turn down") < output.index("Seat the cam")


@pytest.mark.parametrize(("name", "reason"), [("dead", "an open valve would reach them"), ("cycle", "in a cycle")])
def test_procedure_without_a_safe_order_gets_no_sheet(shell: Shell, name: str, reason: str) -> None:
    code, output, errors = shell.run("order", f"{name}.yaml", "--sheet", "out.html")
    assert (code, output) == (1, "")
    assert "there is no safe order" in errors
    assert reason in errors
    assert not (shell.folder / "out.html").exists()


@pytest.mark.parametrize(
    ("call", "hint"),
    [
        (["--sheet"], "before the options"),
        (["full.yaml", "--sheet", "full.yaml"], "full.yaml is a procedure. Name another file for the sheet"),
        (["--sheet", "ful.yaml"], "Did you mean full.yaml?"),
        (["bad.yaml"], "benchflow check bad.yaml"),
        (["ful.yaml"], "Did you mean full.yaml?"),
        (["full.yaml", "--option", "cam=standard"], "Did you mean `cams`?"),
        (["full.yaml", "--option", "cams=regrund"], "Did you mean `reground`?"),
        (["full.yaml", "--option", "cams"], "name=choice"),
        (["full.yaml", "--start", "piston=down"], "Did you mean `pistons`?"),
        (["full.yaml", "--start", "pistons=dwn"], "Did you mean `down`?"),
        (["full.yaml", "--start", "valves=open"], "fixes its start at shut"),
        (["full.yaml", "--svg", "gone/x.svg"], "gone/x.svg cannot be written"),
    ],
)
def test_wrong_call_ends_with_code_2_and_a_hint(shell: Shell, call: list[str], hint: str) -> None:
    code, output, errors = shell.run("order", *call)
    assert (code, output) == (2, "")
    assert hint in errors
    assert "Traceback" not in errors


@pytest.mark.parametrize(
    "call",
    [
        ["full.yaml", "--sheet", "out.html"],
        ["--sheet", "out.html", "full.yaml"],
        ["--sheet", "full.yaml", "out.html"],
        ["full.yaml", "out.html", "--sheet"],
    ],
)
def test_sheet_and_procedure_in_any_order_of_words(shell: Shell, call: list[str]) -> None:
    before = (shell.folder / "full.yaml").read_bytes()
    code, _, errors = shell.run("order", *call[:4])
    if call[-1] == "--sheet":
        assert code == 2  # a second word without an option is refused, not taken for the procedure
        return
    assert (code, "was written to out.html" in errors) == (0, True)
    assert "<html" in (shell.folder / "out.html").read_text(encoding="utf-8")
    assert (shell.folder / "full.yaml").read_bytes() == before


def test_sheet_before_the_procedure_goes_to_standard_output(shell: Shell) -> None:
    assert shell.run("order", "--sheet", "full.yaml") == shell.run("order", "full.yaml", "--sheet")


def test_control_characters_and_markup_in_a_file_are_harmless(shell: Shell) -> None:
    evil = FULL.replace("Seal the corners", '"<script>alert(1)</script>\\x1b]52;c;cm0=\\x07 \\u202E"')
    (shell.folder / "evil.yaml").write_text(evil, encoding="utf-8")
    for call in ([], ["--json"], ["--svg", "-"], ["--sheet"], ["--text"], ["--sheet", "--json"]):
        code, output, errors = shell.run("order", "evil.yaml", *call)
        assert code == 0
        assert not set(output + errors) & set("\x1b\x07\u009b\u202e")
        assert call not in (["--svg", "-"], ["--sheet"]) or "<script" not in output
