"""Blocks: parameters, names, set-up, the written-out text, and the places of problems."""

from fractions import Fraction
from io import StringIO
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from benchflow.procedure.authoring.guide_of_blocks import BLOCKS_SECTION
from benchflow.procedure.authoring.json_schema import block_schema, json_schema
from benchflow.procedure.blocks.block_expansion import expand_blocks
from benchflow.procedure.blocks.block_folder import BlockFolder
from benchflow.procedure.blocks.block_library import BlockLibrary
from benchflow.procedure.blocks.block_page import block_page
from benchflow.procedure.blocks.block_sample import block_from, check_block, expand_sample
from benchflow.procedure.blocks.figure_arithmetic import CannotCalculate, calculated_text
from benchflow.procedure.blocks.tree_writer import write_tree
from benchflow.procedure.compiled_cache import Loaded, load
from benchflow.procedure.model import Mark, TorqueStage
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping
from benchflow.procedure.yaml_source.yaml_reader import parse
from benchflow.quantity import base, parse_quantity

# The example of the design of this format, with operations.
STUDS = """\
benchflow-block: 1
id: studs-in-stages
takes:
  joint: {kind: joint}
  final: {kind: torque}
  lubricant: {kind: text, default: engine oil}
operations:
- id: oil
  title: Oil the studs
  do: Put {lubricant} on the threads.
- id: tighten
  title: Tighten to {final}
  after: [oil]
  tighten: {joint: {joint}, stages: [{final / 3}, {2 * final / 3}, {final}]}
"""
HEAD = """\
benchflow: 1
id: trial
title: A trial
joints:
  head-studs: {layout: "1 2"}
sections:
- title: All
  operations:
"""
FIRST = "  - {id: first, title: First}\n"


class Shelf:
    """A folder with a procedure and its blocks."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "blocks").mkdir()
        self.file = folder / "trial.yaml"

    def block(self, text: str, folder: Path | None = None) -> Path:
        name = text.split("id: ")[1].split("\n")[0]
        path = (folder or self.folder / "blocks") / f"{name}.yaml"
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, "utf-8")
        return path

    def load(self, uses: str, head: str = HEAD + FIRST, *folders: BlockFolder, cache: Path | None = None) -> Loaded:
        self.file.write_text(head + uses, "utf-8")
        return load(self.file, cache, folders)

    def written(self, uses: str, head: str = HEAD + FIRST) -> dict[str, object]:
        """The written-out procedure as data, read by a YAML library (outside of the project)."""
        loaded = self.load(uses, head)
        assert [str(each) for each in loaded.problems if each.severity == "error"] == []
        data = YAML(typ="safe", pure=True).load(loaded.text)
        assert isinstance(data, dict)
        return data

    def operations(self, uses: str, head: str = HEAD + FIRST) -> list[dict[str, object]]:
        data = self.written(uses, head)
        return data["sections"][0]["operations"]  # type: ignore[index,no-any-return]


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    return Shelf(tmp_path)


def messages(loaded: Loaded) -> list[str]:
    return [f"{each.line}: {each.message}" for each in loaded.problems]


# --- parameters -------------------------------------------------------------------------------------


def test_block_of_the_design_is_written_out_with_prefix_and_stages(shelf: Shelf) -> None:
    shelf.block(STUDS)
    loaded = shelf.load("  - use: studs-in-stages\n    with: {joint: head-studs, final: 90 N·m}\n    as: head\n")
    assert loaded.procedure is not None
    assert [each.id for each in loaded.procedure.operations] == ["first", "head-oil", "head-tighten"]
    tighten = loaded.procedure.operations_by_id["head-tighten"]
    assert [ref.name for ref in tighten.after] == ["head-oil"]
    assert tighten.tighten is not None
    stages = tighten.tighten.stages
    assert [stage.torque.entered for stage in stages if isinstance(stage, TorqueStage)] == [
        "30 N·m",
        "60 N·m",
        "90 N·m",
    ]
    assert loaded.procedure.operations_by_id["head-oil"].do == "Put engine oil on the threads."


def test_written_out_text_reads_the_same_without_blocks(shelf: Shelf, tmp_path: Path) -> None:
    shelf.block(STUDS)
    loaded = shelf.load("  - use: studs-in-stages\n    with: {joint: head-studs, final: 90 N·m}\n")
    again = tmp_path / "again" / "trial.yaml"
    again.parent.mkdir()
    again.write_text(loaded.text, "utf-8")
    assert load(again).procedure == loaded.procedure
    assert load(again).sha256 == loaded.sha256


def test_optional_parameter_leaves_out_keys_items_lines_and_operations(shelf: Shelf) -> None:
    shelf.block("""\
benchflow-block: 1
id: optional
takes:
  limit: {kind: limit, default: none}
  checks: {kind: {list: text}, default: none}
  steps: {kind: {list: text}, default: none}
operations:
- id: look
  title: Look
  do: |
    1. Wipe it.
    2. {steps}
    3. Look at it.
    - {steps}
  check: [{checks}, Clean]
  cautions: [{given: limit, notice: Measured}, {notice: Always}]
- id: measure
  given: limit
  title: Measure
  record: {gap: {unit: mm, limit: {limit}}}
- id: feel
  unless: limit
  title: Feel
""")
    look, feel = shelf.operations("  - use: optional\n")[1:]
    assert look["do"] == "1. Wipe it.\n2. Look at it.\n"
    assert look["check"] == ["Clean"]
    assert look["cautions"] == [{"notice": "Always"}]
    assert feel["id"] == "feel"
    look, measure = shelf.operations(
        "  - {use: optional, with: {limit: at most 0.1 mm, checks: [Dry, Flat], steps: [Oil it., Wait.]}}\n"
    )[1:]
    assert look["do"] == "1. Wipe it.\n2. Oil it.\n3. Wait.\n4. Look at it.\n- Oil it.\n- Wait.\n"
    assert look["check"] == ["Dry", "Flat", "Clean"]
    assert measure["record"] == {"gap": {"unit": "mm", "limit": "at most 0.1 mm"}}


def test_given_text_keeps_its_own_placeholders(shelf: Shelf) -> None:
    shelf.block("""\
benchflow-block: 1
id: told
takes: {text: text, other: {kind: text, default: never}}
operations:
- {id: look, title: "Look: {text}", each: side, do: "{text}"}
""")
    head = HEAD.replace("joints:", "places: {side: [left, right]}\njoints:")
    loaded = shelf.load("  - {use: told, with: {text: 'at {side}'}}\n", head + FIRST)
    assert loaded.procedure is not None
    assert loaded.procedure.operations_by_id["look"].do == "at {side}"


def test_names_that_a_block_defines_get_the_prefix_wherever_they_are_used(shelf: Shelf) -> None:
    shelf.block("""\
benchflow-block: 1
id: measured
takes: {bore: value}
operations:
- id: measure
  title: Measure
  record:
    journal: {unit: mm, limit: 10 .. 11 mm, above: [{do: Again, redo: [measure]}]}
  work-out: {play: {is: "{bore} - journal", unit: mm}}
  check: [{see: Clean, id: clean}]
  undo: {do: Nothing}
- id: wash
  title: Wash
  when: {clean: "no", journal: [above]}
  time: {measure: at most 10 min}
  record: {second: {unit: mm, limit: above journal by 0.1 .. 0.2 mm}}
""")
    first = "  - {id: first, title: First, record: {journal: {unit: mm}}}\n"
    measure, wash = shelf.operations("  - {use: measured, with: {bore: journal}, as: b}\n", HEAD + first)[1:]
    assert measure["work-out"] == {"b-play": {"is": "journal - b-journal", "unit": "mm"}}
    assert measure["record"]["b-journal"]["above"] == [{"do": "Again", "redo": ["b-measure"]}]  # type: ignore[index]
    assert measure["check"] == [{"see": "Clean", "id": "b-clean"}]
    assert wash["when"] == {"b-clean": "no", "b-journal": ["above"]}
    assert wash["time"] == {"b-measure": "at most 10 min"}
    assert wash["record"]["b-second"]["limit"] == "above b-journal by 0.1 .. 0.2 mm"  # type: ignore[index]


def test_single_ids_can_be_renamed_and_keys_of_an_operation_set(shelf: Shelf) -> None:
    shelf.block(STUDS)
    use = (
        "  - use: studs-in-stages\n    with: {joint: head-studs, final: 90 N·m}\n    as: head\n"
        "    names: {tighten: close}\n    add: {tighten: {takes: 20 min}, oil: {do: none}}\n"
    )
    oil, close = shelf.operations(use)[1:]
    assert close["id"] == "close"
    assert close["after"] == ["head-oil"]
    assert close["takes"] == "20 min"
    assert "do" not in oil


def test_blocks_in_a_block_pass_parameters_on_and_join_their_prefixes(shelf: Shelf) -> None:
    shelf.block(STUDS)
    shelf.block("""\
benchflow-block: 1
id: cover
takes: {joint: joint, final: torque, lubricant: {kind: text, default: none}}
operations:
- {id: place, title: Place the cover}
- use: studs-in-stages
  with: {joint: {joint}, final: {final + 5 N·m}, lubricant: {lubricant}}
  as: nuts
- {id: look, title: Look, after: [nuts-tighten]}
""")
    operations = shelf.operations("  - {use: cover, with: {joint: head-studs, final: 40 N·m}, as: top}\n")[1:]
    assert [each["id"] for each in operations] == ["top-place", "top-nuts-oil", "top-nuts-tighten", "top-look"]
    assert operations[3]["after"] == ["top-nuts-tighten"]
    assert operations[2]["title"] == "Tighten to 45 N·m"
    assert operations[1]["do"] == "Put engine oil on the threads."  # not given here: the default of the inner block


def test_names_that_a_block_gives_to_another_block_get_its_prefix_where_they_end_up(shelf: Shelf) -> None:
    shelf.block("""\
benchflow-block: 1
id: inner
takes: {w: anything, ops: {kind: {list: anything}}, t: anything, f: text, r: anything}
operations:
- id: prep
  title: Inner
  when: {w}
  after: [{ops}]
  time: {t}
  record: {v: {unit: mm, limit: at most 1 mm, above: {r}}}
  work-out: {x: {is: "{f}", unit: mm}}
""")
    shelf.block("""\
benchflow-block: 1
id: outer
takes: {free: anything}
operations:
- {id: prep, title: Outer, record: {gap: {unit: mm}}}
- use: inner
  with: {w: {gap: ok}, ops: [prep], t: {prep: at most 10 min}, f: 2 * gap, r: [{do: Again, redo: [prep]}]}
  as: in
- {id: last, title: Last, after: "{free}"}
""")
    first = "  - {id: prep, title: The procedure's own, record: {gap: {unit: mm}}}\n"
    inner, last = shelf.operations("  - {use: outer, as: b, with: {free: [prep]}}\n", HEAD + first)[2:]
    assert inner["id"] == "b-in-prep"
    assert inner["when"] == {"b-gap": "ok"}
    assert inner["after"] == ["b-prep"]
    assert inner["time"] == {"b-prep": "at most 10 min"}
    assert inner["record"]["b-in-v"]["above"] == [{"do": "Again", "redo": ["b-prep"]}]  # type: ignore[index]
    assert inner["work-out"] == {"b-in-x": {"is": "2 * b-gap", "unit": "mm"}}
    assert last["after"] == ["prep"]  # given by the procedure: its own


def test_figure_still_to_be_filled_in_stays_to_be_filled_in(shelf: Shelf) -> None:
    title = "title: Tighten to {final}"
    assert title in STUDS
    shelf.block(STUDS.replace(title, "title: First to {final / 3}"))
    use = "  - {use: studs-in-stages, with: {joint: head-studs, final: ask}}\n"
    assert shelf.operations(use)[2]["title"] == "First to a figure calculated from the torque that is asked for"
    shelf.block(STUDS)
    for written in ("ask", "{torque: ask}"):
        use = f"  - {{use: studs-in-stages, with: {{joint: head-studs, final: {written}}}}}\n"
        tighten = shelf.operations(use)[2]
        assert tighten["tighten"]["stages"] == [{"torque": "ask"}] * 3  # type: ignore[index]
        assert tighten["title"] == "Tighten to the torque that is asked for"


@settings(deadline=None)
@given(st.integers(1, 10**6), st.integers(1, 60))
def test_calculated_figure_is_the_exact_one_or_rounded_to_its_last_digit(tenths: int, parts: int) -> None:
    text = f"{tenths // 10}.{tenths % 10} N·m"
    result = calculated_text(f"final / {parts}", {"final": parse_quantity(text)})
    exact = Fraction(tenths, 10) / parts  # exact rational arithmetic of the standard library
    shown = base(parse_quantity(result))
    digits = len(result.split(" ")[0].partition(".")[2])
    assert abs(shown - exact) <= Fraction(1, 2 * 10**digits)
    assert digits >= 1


@pytest.mark.parametrize(
    ("text", "result"),
    [
        ("final / 3", "30 N·m"),
        ("final * 2/3", "60 N·m"),
        ("final + 5 N·m", "95 N·m"),
        ("round(final / 7, 5 N·m)", "15 N·m"),
        ("min(final, 50 N·m)", "50 N·m"),
    ],
)
def test_calculation_of_a_placeholder_gives_its_text(text: str, result: str) -> None:
    assert calculated_text(text, {"final": parse_quantity("90 N·m")}) == result


@pytest.mark.parametrize("text", ["final * final", "final + 5 mm", "final / 0", "other", "sqrt(final)"])
def test_calculation_that_is_not_possible_is_an_error(text: str) -> None:
    with pytest.raises(CannotCalculate):
        calculated_text(text, {"final": parse_quantity("90 N·m")})


# --- set-up -----------------------------------------------------------------------------------------

WRENCH = """\
benchflow-block: 1
id: {id}
instruments:
  wrench: {{title: {title}, kind: torque}}
interference:
- never: {{lid: off, power: on}}
  because: The fan would catch a hand
state:
  lid: {{values: ["off", "on"], start: "off"}}
  power: {{values: ["off", "on"], start: "off"}}
"""


def test_setup_of_two_blocks_is_added_once(shelf: Shelf) -> None:
    shelf.block(WRENCH.format(id="one", title="Wrench"))
    shelf.block(WRENCH.format(id="two", title="Wrench"))
    data = shelf.written("use: [one, two]\n")
    assert data["instruments"] == {"wrench": {"title": "Wrench", "kind": "torque"}}
    assert len(data["interference"]) == 1  # type: ignore[arg-type]


def test_entry_of_the_procedure_counts_before_those_of_blocks(shelf: Shelf) -> None:
    shelf.block(WRENCH.format(id="one", title="Wrench"))
    shelf.block(WRENCH.format(id="two", title="Another"))
    data = shelf.written("use: [one, two]\ninstruments: {wrench: {title: Mine, kind: torque}}\n")
    assert data["instruments"] == {"wrench": {"title": "Mine", "kind": "torque"}}


# --- problems ---------------------------------------------------------------------------------------


def test_problem_in_a_block_is_at_the_line_of_the_use_with_the_line_of_the_block(shelf: Shelf) -> None:
    path = shelf.block(STUDS.replace("after: [oil]", "after: [oli]"))
    loaded = shelf.load("  - use: studs-in-stages\n    with: {joint: head-studs, final: 90 N·m}\n")
    (problem,) = loaded.problems
    assert (problem.code, problem.line, problem.column) == ("unknown-name", 10, 10)
    assert problem.block == f"{path}:13"
    assert str(problem).endswith(f"(block {path}:13)")


def test_problem_in_a_value_is_at_the_value_in_the_procedure(shelf: Shelf) -> None:
    path = shelf.block("""\
benchflow-block: 1
id: gap
takes: {limit: limit}
operations:
- {id: measure, title: Measure, record: {gap: {unit: mm, limit: {limit}}}}
""")
    loaded = shelf.load("  - use: gap\n    with: {limit: at most 3 bar}\n")
    (problem,) = loaded.problems
    assert (problem.line, problem.block) == (11, f"{path}:5")
    assert problem.column >= 19


def test_problem_of_the_procedure_itself_keeps_its_place(shelf: Shelf) -> None:
    shelf.block(STUDS)
    own = '  - id: last\n    title: "Last"\n    do: |\n      1. Look at {here}.\n    uses: [nut]\n'
    loaded = shelf.load(f"  - {{use: studs-in-stages, with: {{joint: head-studs, final: 9 N·m}}}}\n{own}")
    plain = shelf.load("  # no block\n" + own)
    places = [(each.code, each.line, each.column) for each in loaded.problems]
    assert places == [(each.code, each.line, each.column) for each in plain.problems]
    assert len(places) == 2


def test_line_numbers_in_messages_are_those_of_the_procedure(shelf: Shelf) -> None:
    shelf.block(STUDS)
    use = "  - {use: studs-in-stages, with: {joint: head-studs, final: 9 N·m}}\n"
    loaded = shelf.load(f"{use}  - {{id: first, title: First}}\n")
    assert messages(loaded) == ["11: `first` is already the name of an operation on line 9"]


def test_shops_block_with_a_shipped_id_is_an_error_without_replaces(shelf: Shelf, tmp_path: Path) -> None:
    shipped = BlockFolder(tmp_path / "shipped", "shipped")
    shelf.block(STUDS, shipped.path)
    shelf.block(STUDS.replace("Oil the", "Grease the"))
    use = "  - {use: studs-in-stages, with: {joint: head-studs, final: 9 N·m}}\n"
    loaded = shelf.load(use, HEAD + FIRST, shipped)
    assert [each.code for each in loaded.problems] == ["block-conflict"]
    shelf.block(STUDS.replace("Oil the", "Grease the").replace("takes:", "replaces: studs-in-stages\ntakes:"))
    loaded = shelf.load(use, HEAD + FIRST, shipped)
    assert [(each.code, each.severity) for each in loaded.problems] == [("block-replaced", "note")]
    assert loaded.procedure is not None
    assert loaded.procedure.operations_by_id["oil"].title == "Grease the studs"


def test_equal_copies_of_a_block_are_not_a_conflict(shelf: Shelf, tmp_path: Path) -> None:
    shipped = BlockFolder(tmp_path / "shipped", "shipped")
    shelf.block(STUDS, shipped.path)
    shelf.block(STUDS)
    loaded = shelf.load("  - {use: studs-in-stages, with: {joint: head-studs, final: 9 N·m}}\n", HEAD + FIRST, shipped)
    assert not loaded.problems


def test_file_that_is_not_a_block_is_reported_at_the_use(shelf: Shelf) -> None:
    (shelf.folder / "blocks" / "odd.yaml").write_bytes(b"\xff\xfe\x00")
    (shelf.folder / "blocks" / "list.yaml").write_text("[1, 2]", "utf-8")
    (shelf.folder / "blocks" / "pipe.yaml").mkdir()
    loaded = shelf.load("  - use: odd\n  - use: list\n  - use: pipe\n")
    assert [each.line for each in loaded.problems] == [10, 11, 12]


def test_given_value_that_is_too_long_or_too_deep_is_reported(shelf: Shelf) -> None:
    head = "benchflow-block: 1\nid: free\n"
    nested = "- {id: x, title: X, because: [[[[[[{v}]]]]]]}"
    shelf.block(f"{head}takes: {{v: anything}}\noperations:\n{nested}\n")
    deep = shelf.load(f"  - {{use: free, with: {{v: {'[' * 18}1{']' * 18}}}}}\n")
    assert "too-deep" in [each.code for each in deep.problems]
    shelf.block(f"{head}takes: {{v: text}}\noperations:\n- {{id: x, title: X, do: '{{v}} and {{v}}'}}\n")
    long = shelf.load(f"  - {{use: free, with: {{v: {'a' * 15_000}}}}}\n")
    assert "too-long" in [each.code for each in long.problems]


@pytest.mark.parametrize("name", ["head-install", "short-block", "wheel-hub"])
def test_tree_of_a_shipped_procedure_is_what_the_yaml_reader_makes_of_its_text(name: str) -> None:
    path = Path(__file__).parents[2] / "procedures" / f"{name}.yaml"
    library = BlockLibrary((BlockFolder(path.parent / "blocks", "shipped"),))
    expansion = expand_blocks(path.read_text("utf-8"), path.name, library)
    assert expansion is not None
    assert expansion.tree == parse(expansion.text, path.name).root


def test_text_that_grows_in_each_block_is_stopped(shelf: Shelf) -> None:
    for number in range(10):
        inner = (
            f"- {{use: grow-{number + 1}, with: {{t: '{'{t}' * 10}'}}}}" if number < 9 else "- {id: x, title: '{t}'}"
        )
        shelf.block(f"benchflow-block: 1\nid: grow-{number}\ntakes: {{t: text}}\noperations:\n{inner}\n")
    loaded = shelf.load("  - {use: grow-0, with: {t: aaaa}}\n")
    assert [(each.code, each.line) for each in loaded.problems] == [("too-large", 10)]


def test_text_without_a_file_names_no_block(shelf: Shelf) -> None:
    from benchflow.procedure.compiled_cache import read_text

    loaded = read_text(HEAD + "  - use: studs-in-stages\n")
    assert loaded.procedure is None
    assert loaded.problems[0].line == 9


# --- cache ------------------------------------------------------------------------------------------


def test_changed_block_changes_the_cached_procedure(shelf: Shelf, tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    use = "  - {use: studs-in-stages, with: {joint: head-studs, final: 9 N·m}}\n"
    shelf.block(STUDS)
    first = shelf.load(use, cache=cache)
    assert shelf.load(use, cache=cache) == first
    shelf.block(STUDS.replace("Oil the", "Grease the"))
    second = shelf.load(use, cache=cache)
    assert second.procedure is not None
    assert second.procedure.operations_by_id["oil"].title == "Grease the studs"
    assert second.blocks != first.blocks
    assert second.sha256 != first.sha256


def test_cached_procedure_has_its_text_blocks_and_places(shelf: Shelf, tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    use = "  - {use: studs-in-stages, with: {joint: head-studs, final: 9 N·m}}\n"
    path = shelf.block(STUDS)
    first, again = shelf.load(use, cache=cache), shelf.load(use, cache=cache)
    assert len(list(cache.iterdir())) == 1
    assert again == first
    assert again.procedure is not None
    assert again.source_map is not None
    oil = again.procedure.operations_by_id["oil"]
    assert again.source_map.origin_of(oil.mark) == (Mark(10, 11), f"{path}:8")


# --- blocks alone -----------------------------------------------------------------------------------


def test_block_is_checked_alone_at_its_own_lines() -> None:
    text = STUDS.replace("kind: joint", "kind: joint, sample: nuts").replace(
        "kind: torque", "kind: torque, sample: 9 N·m"
    )
    good = block_from(text.encode(), "studs-in-stages.yaml", "studs-in-stages")
    library = BlockLibrary(())
    assert [each.severity for each in check_block(good, library)] == ["note"]  # it has no title
    expansion = expand_sample(good, library)
    assert expansion is not None
    assert "stages: [3 N·m, 6 N·m, 9 N·m]" in expansion.text
    bad = block_from(text.replace("{final / 3}", "{final / 0}").encode(), "studs-in-stages.yaml", "studs-in-stages")
    assert [each.line for each in check_block(bad, library) if each.severity == "error"] == [14]


def test_default_of_a_wrong_dimension_is_reported_without_samples() -> None:
    text = STUDS.replace("{kind: torque}", "{kind: torque, default: 9 mm}")
    block = block_from(text.encode(), "studs-in-stages.yaml", "studs-in-stages")
    errors = [(each.code, each.line) for each in check_block(block, BlockLibrary(())) if each.severity == "error"]
    assert errors == [("wrong-dimension", 5)]


def test_examples_of_the_guide_expand(tmp_path: Path) -> None:
    use, block = (part.split("```")[0] for part in BLOCKS_SECTION.split("```yaml\n")[1:3])
    shelf = Shelf(tmp_path)
    path = shelf.block(block)
    loaded = shelf.load("".join(f"  {line}\n" for line in use.splitlines()), HEAD.replace("head-studs", "cover-studs"))
    assert not loaded.problems
    assert loaded.procedure is not None
    assert "cover-tighten" in loaded.procedure.operations_by_id
    page = block_page(block_from(path.read_bytes(), str(path), path.stem))
    assert "| `final` | torque | **required** | The torque of the last stage |" in page


def test_schema_accepts_uses_and_refuses_unknown_keys_of_a_use() -> None:
    schema = Draft202012Validator(json_schema())
    base_file = {"benchflow": 1, "id": "a", "title": "A", "use": ["tools"], "sections": []}
    use = {"use": "studs", "with": {"final": "9 N·m", "list": [1]}, "as": "head", "add": {"oil": {"do": "none"}}}
    good = {**base_file, "sections": [{"title": "All", "operations": [use]}]}
    assert not list(schema.iter_errors(good))
    bad = {**base_file, "sections": [{"title": "All", "operations": [{**use, "id": "x"}]}]}
    assert list(schema.iter_errors(bad))
    block = {"benchflow-block": 1, "id": "a", "takes": {"joint": "joint", "many": {"kind": {"list": "text"}}}}
    assert not list(Draft202012Validator(block_schema()).iter_errors(block))
    assert list(Draft202012Validator(block_schema()).iter_errors({**block, "sections": []}))


# --- the text that is written -----------------------------------------------------------------------

ORDINARY = st.characters(exclude_categories=("Cs", "Cc", "Cf", "Zl", "Zp", "Cn", "Co"))
SPECIAL = st.sampled_from("\n :#-{}[],'\"|>&*!%@`?")
TEXTS = st.text(ORDINARY | SPECIAL)
TREES = st.recursive(
    TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS.filter(bool), inner, max_size=4),
    max_leaves=12,
)


@settings(deadline=None)
@given(st.dictionaries(TEXTS.filter(bool), TREES, min_size=1, max_size=4))
def test_any_tree_is_written_so_that_another_yaml_library_reads_it(tree: dict[str, object]) -> None:
    out = StringIO()
    emitter = YAML()
    emitter.width = 4096
    emitter.dump(tree, out)
    source = parse(out.getvalue(), "tree")
    if source.root is None or source.problems.all or not isinstance(source.root, YamlMapping):
        return  # the reader refuses it, such as nesting that is too deep
    text, places, written = write_tree(source.root)
    assert YAML(typ="safe", pure=True).load(text) == YAML(typ="safe", pure=True).load(out.getvalue())
    assert written == parse(text, "tree").root
    assert list(places.places) == sorted(places.places, key=lambda each: (each.line, each.column))


def test_copied_folder_of_another_version_is_used_with_one_note(tmp_path: Path) -> None:
    """A person who copies the shipped folder and then installs a newer program has two versions of each block."""
    shipped, beside = tmp_path / "shipped", tmp_path / "blocks"
    text = "benchflow-block: 1\nid: b{n}\noperations: [{{id: o{n}, title: By version {v}}}]\n"
    for folder, version in ((shipped, 2), (beside, 1)):
        folder.mkdir()
        for n in range(24):
            (folder / f"b{n}.yaml").write_text(text.format(n=n, v=version if n < 12 else 1), encoding="utf-8")
    path = tmp_path / "p.yaml"
    head = "benchflow: 1\nid: p\ntitle: P\nsections:\n- title: All\n  operations:\n"
    path.write_text(head + "".join(f"  - use: b{n}\n" for n in range(3)), encoding="utf-8")
    found = load(path, block_folders=(BlockFolder(shipped, "shipped"),))
    assert found.procedure is not None, found.problems
    assert {operation.title for operation in found.procedure.operations} == {"By version 1"}
    (note,) = [problem for problem in found.problems if problem.code == "block-replaced"]
    assert "is a copy of the shipped blocks of another version: 12 of them differ" in note.message
    (beside / "b1.yaml").write_text(text.format(n=1, v=3), encoding="utf-8")
    for n in range(2, 12):
        (beside / f"b{n}.yaml").write_text(text.format(n=n, v=2), encoding="utf-8")
    conflicts = load(path, block_folders=(BlockFolder(shipped, "shipped"),)).problems
    assert [problem.code for problem in conflicts] == ["block-conflict"] * 2
    assert "write `replaces: b1` in" in conflicts[1].hint
