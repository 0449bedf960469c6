"""The shipped procedures, which are written with building blocks, and the blocks themselves.

The reference in `written_out/` was written by hand, without blocks, before there were any.
"""

import re
import shutil
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
import pytest

from benchflow.cli import main
from benchflow.commands.check import check_file
from benchflow.procedure.blocks.block_file import Block
from benchflow.procedure.blocks.block_folder import BlockFolder
from benchflow.procedure.blocks.block_library import BlockLibrary
from benchflow.procedure.compiled_cache import Loaded, load
from benchflow.procedure.model import Procedure
from benchflow.procedure.procedure_figures import figures_of
from tests.procedure.procedure_content import content, differences

SHIPPED = Path(__file__).parents[2] / "procedures"
BLOCKS = SHIPPED / "blocks"
WRITTEN_OUT = Path(__file__).parent / "written_out"
SAMPLES = sorted((Path(__file__).parent / "block_samples").glob("*.yaml"))
PROCEDURES = sorted(path.stem for path in SHIPPED.glob("*.yaml"))
FOLDER = BlockFolder(BLOCKS, "shipped")
LIBRARY = BlockLibrary((FOLDER,))

every_procedure = pytest.mark.parametrize("name", PROCEDURES)
every_block = pytest.mark.parametrize("name", LIBRARY.ids)


def block(name: str) -> Block:
    return LIBRARY.read(LIBRARY.entries_of(name)[0])


@cache
def loaded(path: Path) -> Loaded:
    found = load(path, block_folders=(FOLDER,))
    assert found.procedure is not None, [str(problem) for problem in found.problems]
    return found


def procedure(path: Path) -> Procedure:
    found = loaded(path).procedure
    assert found is not None
    return found


@every_procedure
def test_no_check_was_split_at_a_comma(name: str) -> None:
    """A comma in a list in brackets begins a new item. Its text then begins with a small letter."""
    texts = [point.text for operation in procedure(SHIPPED / f"{name}.yaml").operations for point in operation.check]
    assert [text for text in texts if text[:1].islower()] == []


# --- the expansion is the procedure written out by hand ------------------------------------------------


@every_procedure
def test_expansion_has_the_content_of_the_procedure_written_out_by_hand(name: str) -> None:
    by_hand, by_blocks = procedure(WRITTEN_OUT / f"{name}.yaml"), procedure(SHIPPED / f"{name}.yaml")
    assert list(differences(content(by_hand), content(by_blocks))) == []


@every_procedure
def test_check_finds_the_same_in_the_expansion_as_in_the_procedure_written_out_by_hand(name: str) -> None:
    by_hand, by_blocks = (check_file(folder / f"{name}.yaml", None) for folder in (WRITTEN_OUT, SHIPPED))
    findings = [[(each["code"], each["severity"], each["message"]) for each in report["findings"]]
                for report in (by_hand, by_blocks)]  # fmt: skip
    assert sorted(findings[0]) == sorted(findings[1])
    assert by_hand["ok"] is by_blocks["ok"] is True
    assert by_hand["explored"] == by_blocks["explored"]


@pytest.mark.parametrize(
    ("file", "was", "now"),
    [
        ("blocks/head-onto-gasket.yaml", "Crush hazard. Keep fingers out", "Keep fingers out"),
        ("blocks/head-onto-gasket.yaml", "- warning: \"Crush hazard", "- caution: \"Crush hazard"),
        ("blocks/flat-face.yaml", "      limit: {limit}\n", "      limit: at most 0.5 mm\n"),
        ("blocks/timing-unit-fitted.yaml", "tries: 1", "tries: 2"),
        ("blocks/studs-tightened-in-stages.yaml", "    discard: [head-gasket]\n", ""),
        ("blocks/timing-chain.yaml", "Keep all slack on this side", "Keep the slack on this side"),
        ("blocks/twin-cam-valve-train.yaml", "valves: open}\n  because", "valves: [open, shut]}\n  because"),
        ("head-install.yaml", "retry: Check the test plates for leaks.", "retry: Check the plates for leaks."),
        ("head-install.yaml", "depth: 42.0 .. 44.0 mm", "depth: 42.0 .. 44.5 mm"),
        ("head-install.yaml", "+60°, +45°]", "+45°, +60°]"),
    ],
)  # fmt: skip
def test_a_changed_caution_limit_remedy_or_text_is_a_difference(file: str, was: str, now: str, tmp_path: Path) -> None:
    shutil.copytree(SHIPPED, tmp_path / "procedures")
    changed = tmp_path / "procedures" / file
    text = changed.read_text(encoding="utf-8")
    assert was in text
    changed.write_text(text.replace(was, now, 1), encoding="utf-8")
    found = load(tmp_path / "procedures" / "head-install.yaml").procedure
    by_hand = content(procedure(WRITTEN_OUT / "head-install.yaml"))
    assert found is None or list(differences(by_hand, content(found)))


# --- the lines that an author reads --------------------------------------------------------------------


def test_head_installation_has_at_most_500_lines() -> None:
    # authoring.md, section 7: 1,619 lines were to become at most 500
    assert len((SHIPPED / "head-install.yaml").read_text(encoding="utf-8").splitlines()) <= 500


@pytest.mark.parametrize("path", sorted(SHIPPED.rglob("*.yaml")), ids=lambda path: path.stem)
def test_no_line_of_a_shipped_file_is_longer_than_120_columns(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    assert [number for number, line in enumerate(lines, 1) if len(line) > 120] == []


# --- every block by itself -----------------------------------------------------------------------------


@every_block
def test_shipped_block_has_no_problem(name: str) -> None:
    assert [str(problem) for problem in block(name).problems] == []


@every_block
def test_shipped_block_says_when_to_use_it_and_what_it_assumes(name: str) -> None:
    written = block(name).written
    assert written is not None
    assert written.about.startswith("Use it ")
    assert len(written.about.split()) >= 40
    text = block(name).text
    assert all(re.search(r"\b(?:ask|text): ", _parameter_text(text, each)) for each in written.takes)


def _parameter_text(text: str, parameter: str) -> str:
    """The lines of a parameter in the text of a block."""
    found = re.search(rf"^  {re.escape(parameter)}:.*(?:\n    .*)*", text, re.MULTILINE)
    assert found is not None, parameter
    return found[0]


@every_block
def test_block_is_sound_when_it_is_written_out_with_its_samples(name: str) -> None:
    assert [each.name for each in block(name).takes.values() if each.default is None and each.sample is None] == []
    report = check_file(BLOCKS / f"{name}.yaml", None)
    assert report["findings"] == []
    assert report["ok"]


def test_every_shipped_block_has_a_page_in_the_guide(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["guide", "--blocks"])
    assert ended.value.code == 0
    guide = capsys.readouterr().out
    for name in LIBRARY.ids:
        written = block(name).written
        assert written is not None
        assert f"- `{name}`: {written.title}\n" in guide
        assert f"## {written.title} (`{name}`)\n\n{written.about.strip()}\n" in guide
        assert all(f"| `{each}` | " in guide for each in written.takes)


@every_procedure
def test_every_figure_of_a_shipped_procedure_comes_from_the_document_that_says_it_is_invented(name: str) -> None:
    found = procedure(SHIPPED / f"{name}.yaml")
    assert [document.id for document in found.documents] == ["invented"]
    assert found.documents[0].title.startswith("Invented figures, no ")
    figures = figures_of(found)
    assert figures
    assert {figure.source.document.id for figure in figures if figure.source and figure.source.document} == {"invented"}
    assert [figure.name for figure in figures if not figure.source or not figure.source.document] == []


def used_blocks(path: Path) -> set[str]:
    return {each.id for each in loaded(path).blocks}


def test_every_shipped_block_is_used_by_a_shipped_procedure_or_a_sample() -> None:
    paths = [*(SHIPPED / f"{name}.yaml" for name in PROCEDURES), *SAMPLES]
    assert set().union(*map(used_blocks, paths)) == set(LIBRARY.ids)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_sample_of_a_block_is_proven_sound(path: Path) -> None:
    from benchflow.ordering.proof import prove

    proof = prove(procedure(path))
    assert [finding.message for finding in proof.findings] == []
    assert proof.complete


def test_work_that_occurs_in_several_procedures_is_one_block() -> None:
    users: dict[str, list[str]] = {}
    for name in PROCEDURES:
        for each in used_blocks(SHIPPED / f"{name}.yaml"):
            users.setdefault(each, []).append(name)
    several = {name for name, procedures in users.items() if len(procedures) > 1}
    assert several >= {"flat-face", "end-float", "turned-by-hand", "sealant-with-window", "pressure-test", "oil-primed",
                       "gasketed-cover", "nuts-pulled-again"}  # fmt: skip


def test_a_parameter_with_a_capital_letter_begins_a_sentence() -> None:
    found = procedure(SHIPPED / "head-install.yaml").operations_by_id["plug-bores"]
    assert found.check[0].text == "Twelve plugs are in and written on the card"
    assert "all twelve plugs" in str(msgspec.to_builtins(found.undo))


WORK_WITH_A_HAZARD = {
    "axle-onto-stands": ("danger", "kill"),
    "battery-for-a-test": ("warning", "acid"),
    "deck-and-threads": ("warning", "cracks the block"),
    "head-onto-gasket": ("warning", "Crush hazard"),
    "leak-down": ("warning", "Air turns the crank"),
    "line-locked-and-drained": ("danger", "Scalding"),
    "oil-primed": ("warning", "under pressure"),
    "timing-chain": ("warning", "shoots the plunger out"),
    "turned-by-hand": ("warning", "Do not force it"),
    "valves-sealing": ("warning", "flammable"),
}
"""Blocks with a hazard: its signal word (ANSI Z535) and words of its caution (from the trade, no source)."""


@pytest.mark.parametrize("name", sorted(WORK_WITH_A_HAZARD))
def test_caution_is_in_the_block_with_the_hazard(name: str) -> None:
    signal, words = WORK_WITH_A_HAZARD[name]
    paths = [*(SHIPPED / f"{each}.yaml" for each in PROCEDURES), *SAMPLES]
    text = block(name).text
    assert f"{signal}: " in text
    assert words in text
    found: list[Any] = [
        caution
        for path in paths
        if name in used_blocks(path)
        for operation in procedure(path).operations
        for caution in operation.cautions
    ]
    assert any(caution.signal == signal and words in caution.text for caution in found)
