"""What an author is told about a mistake in a block or in its use: where, and what to do. All figures are invented."""

from pathlib import Path

import pytest

from benchflow.procedure.blocks.block_library import BlockLibrary
from benchflow.procedure.blocks.block_sample import block_from, check_block
from benchflow.procedure.blocks.block_stand_ins import stand_ins
from benchflow.procedure.blocks.tree_writer import flow_text
from benchflow.procedure.compiled_cache import load
from benchflow.procedure.problems import Problem

BLOCK = """\
benchflow-block: 1
id: studs
title: Studs
takes:
  joint: {kind: joint}
  final: {kind: torque}
  oil: {kind: text, default: engine oil}
  used: {kind: limit, default: none}
operations:
- id: tight
  title: Tighten to {final}
  do: Put {oil} on the threads. One third is {final / 3}.
  tighten: {joint: "{joint}", stages: ["{final / 3}", "{final}"]}
"""
PROCEDURE = """\
benchflow: 1
id: trial
title: A trial
options: {side: {ask: Which?, choices: [left, right]}}
joints: {studs: {layout: "1 2"}}
sections:
- title: All
  operations:
  - {id: clean, title: Clean, when: {side: left}}
"""
USE = "  - use: studs\n    with: {joint: studs, final: 90 N·m}\n"


def _problems(folder: Path, uses: str, block: str = BLOCK) -> list[Problem]:
    (folder / "blocks").mkdir()
    (folder / "blocks" / "studs.yaml").write_text(block, "utf-8")
    path = folder / "trial.yaml"
    path.write_text(PROCEDURE + uses, "utf-8")
    return [problem for problem in load(path).problems if problem.severity != "note"]


@pytest.mark.parametrize(
    ("uses", "code", "line", "words"),
    [
        (USE.replace("with: {joint: studs, final: 90 N·m}", "with: 90 N·m"), "wrong-kind", 11, "not the text `90 N·m`"),
        (USE.replace("joint: studs,", "<<: {joint: studs},"), "bad-key", 11, "merge key"),
        (USE.replace("90 N·m", "[90 N·m, 80 N·m]"), "wrong-kind", 11, "not a list"),
        (USE + "    when: {side: left}\n", "unknown-key", 12, "`add: {OPERATION: {KEY: ...}}`"),
        (USE + "    each: side\n", "unknown-key", 12, "section with `each`"),
        (USE + "    given: final\n", "unknown-key", 12, "in a block only"),
        (USE + "    replaces: studs\n", "unknown-key", 12, "in the file of the block"),
        (USE + "    title: Studs\n", "unknown-key", 12, "item of its own"),
        (USE + "    as: a\n" + USE + "    as: a\n", "duplicate-name", 13, "another prefix than `as: a`"),
        (USE + "    names: {tight: clean}\n", "duplicate-name", 10, "a name under `names`"),
        ("  - use: " + "s" * 300 + "\n", "unknown-name", 10, f"no block `{'s' * 60}`"),
        (USE.replace("studs, ", "stud, "), "unknown-name", 11, "Did you mean `studs`?"),
    ],
)
def test_a_mistake_in_a_use_is_the_only_problem_and_says_what_to_do(
    tmp_path: Path, uses: str, code: str, line: int, words: str
) -> None:
    (problem,) = _problems(tmp_path, uses)
    assert (problem.code, problem.line) == (code, line)
    assert words in problem.text


@pytest.mark.parametrize(
    ("old", "new", "code", "line", "words"),
    [
        ("{oil} on", "{oyl} on", "unknown-placeholder", 12, "Did you mean `{oil}`?"),
        ('"{final}"]', '"{finl}"]', "bad-quantity", 13, "Did you mean `{final}`?"),
        ("{final / 3}.", "{final / 0}.", "bad-formula", 12, "it divides by zero. Correct the placeholder in the block"),
        ("title: Studs\n", "titel: Studs\n", "unknown-key", 3, "Did you mean `title`?"),
        ("# large", "#" * 1_100_000, "too-large", 1, "larger than 1024 KiB"),
    ],
)
def test_a_mistake_in_a_block_has_the_line_of_the_use_and_of_the_block(
    tmp_path: Path, old: str, new: str, code: str, line: int, words: str
) -> None:
    (problem,) = _problems(tmp_path, USE, f"{BLOCK}# large\n".replace(old, new))
    assert (problem.code, problem.line) == (code, 10)
    assert problem.block == f"{tmp_path / 'blocks' / 'studs.yaml'}:{line}"
    assert words in problem.text


def test_a_placeholder_that_is_a_place_is_no_mistake_though_a_parameter_has_a_similar_name(tmp_path: Path) -> None:
    block = BLOCK.replace("title: Tighten", "each: fina\n  title: Stud {fina}, tighten") + "places: {fina: [1, 2]}\n"
    assert _problems(tmp_path, USE, block) == []


def test_a_value_with_by_in_a_text_of_the_block_says_how_to_use_the_block_twice(tmp_path: Path) -> None:
    problems = _problems(tmp_path, USE.replace("90 N·m", "{by: side, left: 90 N·m, right: 80 N·m}"))
    assert {problem.code for problem in problems} == {"wrong-kind"}
    assert all("`final` is given with `by`" in problem.text and "as" in problem.hint for problem in problems)


def test_a_use_whose_operations_are_all_left_out_is_a_warning(tmp_path: Path) -> None:
    (problem,) = _problems(tmp_path, USE, BLOCK.replace("- id: tight\n", "- id: tight\n  given: used\n"))
    assert (problem.code, problem.severity, problem.line) == ("unused", "warning", 10)


def test_none_leaves_out_a_parameter_whose_default_is_none(tmp_path: Path) -> None:
    block = BLOCK + "- {id: wear, title: Measure, given: used, record: {wear: {unit: mm, limit: '{used}'}}}\n"
    assert _problems(tmp_path, USE.replace("90 N·m", "90 N·m, used: none"), block) == []


def test_a_difference_in_a_given_value_of_set_up_names_the_line_of_the_block(tmp_path: Path) -> None:
    block = BLOCK + "kit: {consumables: {lube: '{oil}'}}\n"
    uses = USE.replace("90 N·m", "90 N·m, oil: a") + USE.replace("90 N·m", "90 N·m, oil: b") + "    as: b\n"
    (problem,) = _problems(tmp_path, uses, block)
    assert (problem.code, problem.line) == ("block-conflict", 12)
    assert problem.block.endswith("studs.yaml:14")


def _alone(text: str) -> list[tuple[str, str, int]]:
    block = block_from(text.encode(), "studs.yaml", "studs")
    return [(each.code, each.severity, each.line) for each in check_block(block, BlockLibrary(()))]


def test_a_block_without_samples_is_checked_with_stand_ins() -> None:
    text = BLOCK.replace("  used: {kind: limit, default: none}\n", "  gap: limit\n")
    text += "- id: measure\n  title: Measure\n  after: [tight]\n  record: {gap: {unit: mm, limit: '{gap}'}}\n"
    assert _alone(text) == []
    block = block_from(text.encode(), "studs.yaml", "studs")
    assert {name: flow_text(node) for name, node in stand_ins(block).items()} == {
        "joint": "joint-example", "final": "40 N·m", "gap": "0.05 .. 0.10 mm",
    }  # fmt: skip
    assert _alone(text.replace("after: [tight]", "after: [tigth]")) == [("unknown-name", "note", 16)]
    assert _alone(text.replace("after: [tight]", "after: [tightened]")) == []  # an operation of the procedure
    assert _alone(text.replace("unit: mm", "unit: mm, liimt: 3")) == [("unknown-key", "error", 17)]
    assert _alone(text.replace("unit: mm", "unit: N·m")) == []  # the stand-in has the unit of the value
    assert _alone(text.replace("Put {oil}", "Put {oyl}")) == [("unknown-placeholder", "error", 12)]
    assert _alone(text.replace("{final / 3}.", "{final / gap}.")) == [("bad-formula", "error", 12)]


def test_problems_that_stand_ins_cause_are_not_reported() -> None:
    text = BLOCK.replace(
        "  used: {kind: limit, default: none}\n", "  snug: torque\n  stages: {kind: {list: anything}}\n"
    )
    assert _alone(text.replace('["{final / 3}", ', '["{final}", "{snug}", ')) == []  # three equal torques
    assert _alone(text.replace('["{final / 3}", "{final}"]', '"{stages}"')) == []  # without stages


def test_a_wrong_default_hides_no_unknown_key() -> None:
    text = BLOCK.replace("{kind: limit, default: none}", "{kind: torque, default: 9 mm}").replace("  do:", "  doo:")
    assert _alone(text) == [("wrong-dimension", "error", 8), ("unknown-key", "error", 12)]
