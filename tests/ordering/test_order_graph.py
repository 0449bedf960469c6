"""The order as a graph, as text and as a picture."""

import re
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import networkx as nx
import pytest
from hypothesis import given, settings
from msgspec.structs import replace

from benchflow.ordering.called_work import plan_to_draw
from benchflow.ordering.pictures.order_graph import (
    OperationGroup,
    OrderGraph,
    grouped_operations,
    move_letter,
    order_graph,
)
from benchflow.ordering.pictures.order_graph_svg import order_graph_svg
from benchflow.ordering.pictures.order_graph_text import order_graph_text
from benchflow.ordering.wording import condition_text
from benchflow.procedure.expand import expand
from benchflow.procedure.model import Mark, Operation, Procedure, Ref
from benchflow.procedure.plan import Plan
from benchflow.procedure.reader import read
from tests.driving.shipped import shipped_procedure
from tests.ordering.plans import plan, procedure, step, valve_plan, variable, within
from tests.ordering.random_plans import examples, plans_of, random_procedures

LIBRARY = sorted((Path(__file__).parents[2] / "procedures").glob("*.yaml"))
EVIL = 'x</text><script>alert(1)</script> & "\x1b]52;c;x\x07 \u202e'


def shipped_plan(path: Path) -> Plan:
    shipped = shipped_procedure(path)
    return expand(shipped, {option.name: option.choices[0] for option in shipped.options})


def graph_and_groups(build: Plan) -> tuple[OrderGraph, tuple[OperationGroup, ...]]:
    made = order_graph(build, {})
    return made, grouped_operations(build, made)


def text_lines(build: Plan, width: int = 100) -> list[str]:
    return list(order_graph_text(*graph_and_groups(build), width=width))


def repeated(*operations: Operation) -> Plan:
    return expand(procedure(*operations, places={"bore": ("1", "2")}), {})


def operation(name: str, *after: str, each: str | None = None) -> Operation:
    title = f"{name} {{bore}}" if each else name
    refs = tuple(Ref(one, Mark()) for one in after)
    return Operation(id=name, title=title, section="work", number=1, each=each, after=refs)


# --- prerequisites -----------------------------------------------------------------------------------


@settings(max_examples=examples(100), deadline=None)
@given(random_procedures(most_operations=8))
def test_graph_shows_the_transitive_reduction(read: Procedure) -> None:
    for build in plans_of(read):
        whole: nx.DiGraph[str] = nx.DiGraph()
        whole.add_nodes_from(build.steps)
        whole.add_edges_from((earlier, each.id) for each in build.steps.values() for earlier in each.after)
        shown = {(earlier, each.id) for each in order_graph(build, {}).operations for earlier in each.after}
        assert shown == set(nx.transitive_reduction(whole).edges)


def test_operations_in_a_cycle_keep_every_line_and_are_named() -> None:
    made, groups = graph_and_groups(plan(step("a", "b"), step("b", "a"), step("c", "b")))
    assert made.cycles == (("a", "b"),)
    assert [each.after for each in made.operations] == [("b",), ("a",), ("b",)]
    assert any("IN A CYCLE" in line for line in order_graph_text(made, groups))
    ElementTree.fromstring(order_graph_svg(made, groups))


def test_combined_repeats_show_if_each_place_waits_only_for_the_same_place() -> None:
    build = repeated(operation("wash"), operation("hone", "wash", each="bore"), operation("gauge", "hone", each="bore"),
                     operation("close", "gauge[*]"))  # fmt: skip
    made, groups = graph_and_groups(build)
    assert len(made.operations) == 6
    assert [(group.numbers, group.title) for group in groups] == [
        ("1", "wash"), ("2–3", "Hone 1 / 2"), ("4–5", "Gauge 1 / 2"), ("6", "close"),
    ]  # fmt: skip
    assert [[(edge.group, edge.by_place) for edge in group.after] for group in groups] == [
        [], [(0, False)], [(1, True)], [(2, False)],
    ]  # fmt: skip
    assert any(line.endswith("2–3 (each its own)") for line in order_graph_text(made, groups))


def test_repeats_that_alternate_with_another_operation_stay_separate() -> None:
    build = repeated(operation("hone", each="bore"), operation("rinse", "hone[1]"))
    again = replace(build.steps["hone[2]"], after=("rinse",))
    made, groups = graph_and_groups(replace(build, steps={**build.steps, "hone[2]": again}))
    assert [group.steps for group in groups] == [("hone[1]",), ("hone[2]",), ("rinse",)]
    assert [[edge.group for edge in group.after] for group in groups] == [[], [2], [0]]
    assert not made.cycles


def test_graph_names_the_actions_that_set_a_value_or_are_checked_by_a_rule() -> None:
    made, _ = graph_and_groups(valve_plan())
    pistons, valves, _ = made.states
    assert pistons.start is None
    assert [(v.value, v.moves) for v in pistons.values] == [
        ("at-deck", ("turn-crank-up",)),
        ("down", ("turn-crank-down",)),
    ]
    assert [(v.value, v.at_start, v.operations, v.held) for v in valves.values] == [
        ("shut", True, (), ()),
        ("open", False, (), ("seat-cam",)),
    ]
    assert made.rules[0].operations == ("seat-cam",)
    assert made.rules[0].moves == ("turn-crank-up",)


def test_move_letters_continue_after_z() -> None:
    assert [move_letter(i) for i in (0, 25, 26, 27, 51, 52, 701, 702)] == [
        "A",
        "Z",
        "AA",
        "AB",
        "AZ",
        "BA",
        "ZZ",
        "AAA",
    ]


# --- text -------------------------------------------------------------------------------------------


def test_text_names_prerequisites_states_and_rules() -> None:
    text = "\n".join(text_lines(valve_plan()))
    for line in ("after     1", "needs     cam seated ← 2", "during    valves open", "then      cam timed",
                 "at the deck  by move B", "open  during 2", "checked at 2, move B"):  # fmt: skip
        assert line in text


def test_later_operation_is_not_named_as_the_source_of_a_state() -> None:
    text = "\n".join(text_lines(valve_plan()))
    assert "needs     pistons at the deck ← the start or move B" in text
    assert "cam seated ← 2" in text
    assert "cam seated ← 2 or" not in text


def test_repeat_can_get_its_state_from_the_repeat_before_it() -> None:
    strips = procedure(
        replace(operation("lay", each="bore"), needs={"strip": ("none",)}, sets={"strip": "laid"}),
        replace(operation("read", "lay", each="bore"), sets={"strip": "none"}),
        state=[variable("strip", "none", "laid")],
        places={"bore": ("1", "2")},
    )
    text = "\n".join(text_lines(expand(strips, {})))
    assert "needs     strip none ← the start or 3–4" in text


def test_text_shows_a_time_window() -> None:
    lines = text_lines(plan(step("seal"), step("close", time=[within("seal", 600)])))
    assert any(line.strip().startswith("time") and line.endswith("since 1") for line in lines)


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
@pytest.mark.parametrize("width", [60, 100])
def test_text_fits_the_width_and_shows_every_operation(path: Path, width: int) -> None:
    build = shipped_plan(path)
    made, groups = graph_and_groups(build)
    lines = order_graph_text(made, groups, width=width)
    assert max(map(len, lines)) <= width
    flowed = " ".join(" ".join(lines).split())
    for group in groups:
        assert f"{group.numbers} {group.title}" in flowed


# --- picture ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_picture_shows_everything_and_is_self_contained(path: Path) -> None:
    build = shipped_plan(path)
    made, groups = graph_and_groups(build)
    text = order_graph_svg(made, groups)
    root = ElementTree.fromstring(text)
    assert not re.search(r"href|url\(|@import|<script|<style|<image", text)
    shown = [each.text or "" for each in root.iter("{http://www.w3.org/2000/svg}text")]
    flowed = " ".join(shown)
    for group in groups:
        assert group.numbers in shown
        assert group.title in flowed
    for move in made.moves:
        assert move.letter in shown
        assert move.title in flowed
    for state in made.states:
        for value in state.values:
            used = value.at_start or value.operations or value.moves or value.held
            assert not used or state.start is None or value.words in flowed


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_prerequisite_lines_do_not_overlap(path: Path) -> None:
    upright: dict[float, list[tuple[float, float]]] = {}
    for x, top, bottom in re.findall(
        r'd="M([\d.]+) ([\d.]+)V([\d.]+)" fill="none"', order_graph_svg(*graph_and_groups(shipped_plan(path)))
    ):
        upright.setdefault(float(x), []).append((float(top), float(bottom)))
    assert upright
    for spans in upright.values():
        spans.sort()
        assert all(one[1] <= other[0] for one, other in pairwise(spans))


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_boxes_do_not_overlap_and_fit_on_the_page(path: Path) -> None:
    root = ElementTree.fromstring(order_graph_svg(*graph_and_groups(shipped_plan(path))))
    boxes = [tuple(float(each.get(name, "0")) for name in ("x", "y", "width", "height"))
             for each in root.iter("{http://www.w3.org/2000/svg}rect") if each.get("rx")]  # fmt: skip
    wide, high = float(root.get("width", "0")), float(root.get("height", "0"))
    assert all(x >= 0 and y >= 0 and x + w <= wide and y + h <= high for x, y, w, h in boxes)
    for i, (x, y, w, h) in enumerate(boxes):
        for left, top, across, down in boxes[i + 1 :]:
            assert x + w <= left or left + across <= x or y + h <= top or top + down <= y


def test_text_of_the_author_is_escaped_in_the_picture() -> None:
    build = valve_plan()
    evil = replace(build.procedure, title=EVIL, notice=EVIL)
    steps = {
        name: replace(each, operation=replace(each.operation, title=EVIL)) for name, each in build.steps.items()
    }  # fmt: skip
    text = order_graph_svg(*graph_and_groups(replace(build, procedure=evil, steps=steps)))
    ElementTree.fromstring(text)
    assert "<script" not in text
    assert not set(text) & set("\x1b\x07\u202e")


def test_legend_fits_on_a_narrow_picture() -> None:
    made, groups = graph_and_groups(valve_plan())
    root = ElementTree.fromstring(order_graph_svg(made, groups))
    wide = float(root.get("width", "0"))
    legend = [each for each in root.iter("{http://www.w3.org/2000/svg}text") if (each.text or "").startswith("never")]
    assert legend
    for each in legend:
        words = each.text or ""
        assert float(each.get("x", "0")) + len(words) * float(each.get("font-size", "0")) * 0.5 <= wide


def test_picture_says_on_what_an_operation_depends() -> None:
    text = """\
benchflow: 1
id: found
title: Found
revision: A
places: {cap: ['1', '2'], side: [left, right]}
sections:
- title: All
  operations:
  - id: measure
    title: Measure
    record: {play: {unit: mm, limit: at most 0.20 mm, above: [{do: Polish, redo: [polish]}]}}
  - {id: polish, title: Polish, if-needed: true}
  - {id: shim, title: Fit a shim, when: {play: above}}
- title: Caps
  each: cap
  operations:
  - {id: seat, title: "Seat {side} of {cap}", each: side}
"""
    procedure = read(text).procedure
    assert procedure is not None
    plan = plan_to_draw(procedure, {})
    graph = order_graph(plan, {})
    conditions = [operation.condition for operation in graph.operations[:3]]
    assert conditions == ["", "only if a remedy for “Measure” calls for it", "only if “Play” is above its limit"]
    assert [operation.after for operation in graph.operations[:3]] == [(), (), ("measure",)]
    assert [group.title for group in grouped_operations(plan, graph)][-1] == "Seat left / right of 1 / 2"


def test_condition_is_told_in_the_words_of_the_bench() -> None:
    text = """\
benchflow: 1
id: t
title: T
revision: A
places: {bore: [1, 2]}
sections:
- title: A
  operations:
  - {id: a, title: A, each: bore, record: {gap: {ask: "Gap of {bore}", unit: mm, limit: 0.1 .. 0.2 mm}},
     check: [{see: It turns, id: turns}]}
  - {id: b, title: B, each: bore, when: {gap: [below, above]}}
  - {id: c, title: C, when: {"gap[*]": above, "turns[2]": 'no'}}
"""
    found = read(text).procedure
    assert found is not None
    drawn = plan_to_draw(found, {})
    assert condition_text(drawn, drawn.steps["b[2]"]) == "only if “Gap of 2” is outside its limit"
    assert condition_text(drawn, drawn.steps["c"]) == (
        "only if “Gap” at any of them is above its limit and “It turns” at 2 is answered no"
    )
