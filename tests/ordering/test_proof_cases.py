"""Single cases of the proof: place and message of each finding, and proofs that exceed the bound."""

from decimal import Decimal
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given, settings
from msgspec.structs import replace

from benchflow.ordering.proof import OrderFinding, Proof, Reductions, SuggestedLine, prove
from benchflow.procedure.model import Mark, Move, Operation, Option, Procedure, Ref, TimeSince
from benchflow.quantity import Quantity
from tests.ordering import brute_force
from tests.ordering.plans import move, procedure, rule, step, variable
from tests.ordering.random_plans import examples, plans_of, random_procedures
from tests.ordering.test_proof import with_suggested_lines


def op(name: str, *after: str, line: int = 0, each: str | None = None, when: str = "", **more: Any) -> Operation:
    """An operation on its own line, with its `after` entries at columns 10, 20, ..."""
    made = step(name, *after, **more).operation
    return replace(
        made,
        after=tuple(Ref(other, Mark(line, 10 * (i + 1))) for i, other in enumerate(after)),
        each=each,
        when={name: (choice,) for name, _, choice in [when.partition("=")] if name},
        mark=Mark(line, 3),
    )


def only_finding(proof: Proof, code: str) -> OrderFinding:
    (found,) = [finding for finding in proof.findings if finding.code == code]
    return found


PISTONS = variable("pistons", "down", "at-deck", start="?", words={"at-deck": "at the deck"})
VALVES = variable("valves", "shut", "open")
STRIKE = rule("an open valve would reach them", pistons="at-deck", valves="open")


# --- findings ----------------------------------------------------------------------


def test_finding_has_the_documented_json_keys() -> None:
    built = procedure(
        op("seat-cam", line=7, during={"valves": "open"}),
        state=[PISTONS, VALVES],
        rules=[replace(STRIKE, mark=Mark(2, 3))],
    )
    members = only_finding(prove(built), "interlock-needed").as_json()
    message = members.pop("message")
    assert members == {
        "code": "interlock-needed",
        "severity": "warning",
        "where": "seat-cam",
        "line": 7,
        "column": 3,
        "order": ["seat-cam"],
        "start": {"pistons": "at-deck", "valves": "shut"},
    }
    assert message == (
        "Start with pistons at the deck. Then “Seat cam” leaves valves open while it is in progress, together with"
        " pistons at the deck. An open valve would reach them."
        " Only the interlock prevents this; a printed copy does not."
        " To make it safe on paper, add this line: `needs: {pistons: down}` at seat-cam (line 7)."
    )


def test_forbidden_start_names_the_rule() -> None:
    built = procedure(
        op("look"),
        state=[PISTONS, replace(VALVES, start=None)],
        rules=[replace(STRIKE, mark=Mark(4, 5))],
    )
    proof = prove(built)
    found = only_finding(proof, "forbidden-start")
    assert (found.where, found.line, found.column) == ("interference[1]", 4, 5)
    assert found.start == {"pistons": "at-deck", "valves": "open"}
    assert proof.complete


def test_proof_is_not_complete_if_every_start_is_forbidden() -> None:
    built = procedure(
        op("look"), state=[replace(PISTONS, start="at-deck"), replace(VALVES, start="open")], rules=[STRIKE]
    )
    proof = prove(built)
    assert {finding.code for finding in proof.findings} == {"forbidden-start"}
    assert not proof.complete


def test_dead_end_at_the_start_has_an_empty_order() -> None:
    built = procedure(op("look", needs={"pistons": "down"}), state=[PISTONS])
    found = only_finding(prove(built), "dead-end")
    assert found.order == ()
    assert found.start == {"pistons": "at-deck"}
    assert "order" in found.as_json()


# --- the order alone --------------------------------------------------------------------------------


def test_cycle_is_reported_at_an_after_of_a_shortest_cycle() -> None:
    built = procedure(op("a", "c", line=1), op("b", "a", line=2), op("c", "b", line=3), op("d", "a", line=4))
    found = only_finding(prove(built), "order-cycle")
    assert (found.where, found.line, found.column) == ("a", 1, 10)
    assert found.message.startswith("“B” comes after “A”, “C” comes after “B” and “A” comes after “C”")


def test_cycle_through_a_time_window_is_found() -> None:
    window = TimeSince(Ref("b", Mark(9, 9)), None, Quantity(Decimal(1), "min", "1 min"), "at most 1 min")
    built = procedure(replace(op("a", line=1), time=(window,)), op("b", "a", line=2))
    found = only_finding(prove(built), "order-cycle")
    assert (found.line, found.column) == (9, 9)


def test_redundant_after_is_noted_at_its_place() -> None:
    built = procedure(op("a", line=1), op("b", "a", line=2), op("c", "a", "b", line=3))
    found = only_finding(prove(built), "redundant-after")
    assert (found.severity, found.where, found.line, found.column) == ("note", "c.after[1]", 3, 10)


def test_after_is_redundant_where_the_order_passes_through_an_operation_left_out() -> None:
    built = procedure(
        op("a"),
        op("b", "a", when="kind=long"),
        op("c", "a", "b"),
        options=[Option("kind", "Which?", ("long", "short"))],
    )
    assert only_finding(prove(built), "redundant-after").where == "c.after[1]"


def test_cycle_through_an_operation_left_out_names_that_operation() -> None:
    built = procedure(
        op("a", "b", line=1),
        op("b", "a", when="kind=long", line=2),
        options=[Option("kind", "Which?", ("short", "long"))],
    )
    messages = [found.message for found in prove(built).findings if found.code == "order-cycle"]
    assert any("“A” comes after itself" in text and "passes through `b`" in text for text in messages)


def test_after_is_redundant_only_if_it_is_for_every_place() -> None:
    places = {"cylinder": ("1", "2")}
    each = procedure(
        op("a", each="cylinder"), op("b", "a", each="cylinder"), op("c", "a[*]", "b", each="cylinder"), places=places
    )
    assert not prove(each).findings  # c[1] waits for a[2] too
    whole = procedure(op("a", each="cylinder"), op("b", "a", each="cylinder"), op("c", "a", "b[*]"), places=places)
    assert only_finding(prove(whole), "redundant-after").where == "c.after[1]"


# --- suggested lines --------------------------------------------------------------------------------


def test_one_line_at_a_repeated_operation_fixes_all_places() -> None:
    built = procedure(
        op("adjust", each="valve", line=5, during={"valves": "open"}),
        state=[PISTONS, VALVES],
        rules=[STRIKE],
        moves=[move("down", {"pistons": "down"})],
        places={"valve": ("1", "2", "3", "4")},
    )
    proof = prove(built)
    assert list(proof.fixes.values()) == [(SuggestedLine("adjust", variable="pistons", values=("down",)),)]


def test_operation_and_move_that_break_a_rule_need_a_line_each() -> None:
    built = procedure(
        op("open-valve", sets={"valves": "open"}),
        op("shut-valve", "open-valve", sets={"valves": "shut"}),
        state=[replace(PISTONS, start="down"), VALVES],
        rules=[STRIKE],
        moves=[move("up", {"pistons": "at-deck"}), move("down", {"pistons": "down"})],
    )
    proof = prove(built)
    ((_, lines),) = proof.fixes.items()
    assert set(lines) == {
        SuggestedLine("open-valve", variable="pistons", values=("down",)),
        SuggestedLine("up", variable="valves", values=("shut",)),
    }
    assert not [f for f in prove(with_suggested_lines(built, lines)).findings if f.code == "interlock-needed"]


def test_no_line_is_suggested_for_an_operation_that_breaks_a_rule_by_itself() -> None:
    built = procedure(
        op("ram-it", during={"valves": "open", "pistons": "at-deck"}), state=[PISTONS, VALVES], rules=[STRIKE]
    )
    proof = prove(built)
    assert list(proof.fixes.values()) == [()]
    assert "Correct it or the rule first" in only_finding(proof, "interlock-needed").message


def three_selector_rails() -> Procedure:
    """Three rails, fitted in order. One may be in gear. One of the three pairs is not in the `needs` of the moves."""
    free: dict[str, dict[str, list[str]]] = {
        "low": {"middle": ["out", "clear"]},
        "middle": {"low": ["out", "clear"], "top": ["out", "clear"]},
        "top": {"middle": ["out", "clear"]},
    }
    before = {"low": (), "middle": ("fit-low",), "top": ("fit-middle",)}
    return procedure(
        *(op(f"fit-{rail}", *before[rail], sets={rail: "clear"}, needs=free[rail]) for rail in free),
        op("try-gears", *(f"fit-{rail}" for rail in free), needs=dict.fromkeys(free, "clear")),
        state=[variable(rail, "out", "clear", "engaged") for rail in free],
        rules=[rule("two gears would be in", **dict.fromkeys(pair, "engaged")) for pair in combinations(free, 2)],
        moves=[
            *(move(f"engage-{rail}", {rail: "engaged"}, {rail: ["clear"], **free[rail]}) for rail in free),
            *(move(f"free-{rail}", {rail: "clear"}, {rail: "engaged"}) for rail in free),
        ],
    )


def test_needs_that_are_written_already_are_not_narrowed_to_states_outside_the_rule() -> None:
    """One line would do too: a rail goes into gear only while another rail is not fitted. Nobody wants that."""
    built = three_selector_rails()
    ((_, lines),) = prove(built).fixes.items()
    assert set(lines) == {
        SuggestedLine("engage-low", variable="top", values=("out", "clear")),
        SuggestedLine("engage-top", variable="low", values=("out", "clear")),
    }
    assert not [f for f in prove(with_suggested_lines(built, lines)).findings if f.code == "interlock-needed"]


def test_needs_that_allow_a_state_of_the_rule_are_narrowed_to_the_others() -> None:
    lift = variable("lift", "none", "low", "full")
    built = procedure(
        op("press", sets={"valves": "open"}, needs={"lift": ["low", "full"]}),
        state=[lift, VALVES],
        rules=[rule("the valve would hit", lift="full", valves="open")],
        moves=[move("raise", {"lift": "low"}), move("raise-fully", {"lift": "full"}, {"valves": "shut"})],
    )
    proof = prove(built)
    assert list(proof.fixes.values()) == [(SuggestedLine("press", variable="lift", values=("low",)),)]
    message = proof.findings[next(iter(proof.fixes))].message
    assert "`needs: {lift: low}` at press instead of `lift: [low, full]`" in message


def single_lines(built: Procedure) -> list[SuggestedLine]:
    """Every single line that an author could add."""
    lines = []
    written = {each.id: each.needs for each in built.operations} | {each.id: each.needs for each in built.moves}
    for name, needs in written.items():
        for v in (each for each in built.state if each.name not in needs):
            for count in range(1, len(v.values)):
                lines += [
                    SuggestedLine(name, variable=v.name, values=chosen) for chosen in combinations(v.values, count)
                ]
    for one in built.operations:
        lines += [SuggestedLine(one.id, after=other.id) for other in built.operations if other is not one]
    return lines


@settings(max_examples=examples(150), deadline=None)
@given(random_procedures(most_operations=4, most_variables=2, with_options=False))
def test_no_single_line_is_enough_if_several_are_suggested(built: Procedure) -> None:
    proof = prove(built)
    messages = {number: proof.findings[number].message for number in proof.fixes}
    several = [lines for number, lines in proof.fixes.items() if "the fewest possible" in messages[number]]
    if len(proof.fixes) != 1 or not several:
        return
    (plan,) = plans_of(built)
    before = brute_force.Verdicts(plan)
    useful = before.useful_moves()
    for line in single_lines(built):
        (plan,) = plans_of(with_suggested_lines(built, (line,)))
        after = brute_force.Verdicts(plan)
        lost = after.unreachable - before.unreachable or useful - after.useful_moves()
        locking = before.dead_end is None and after.dead_end is not None
        assert lost or locking or after.breach is not None


# --- groups too large to explore --------------------------------------------------------------------


def wide_procedure(count: int, *, locking: bool) -> Procedure:
    """Unordered operations that each set another position. With ``locking`` no operation can follow the last one."""
    positions = [f"p{i}" for i in range(count)]
    work = [op(f"to-{i}", needs={"position": positions[:-1]}, sets={"position": positions[i]}) for i in range(count)]
    return procedure(
        *work,
        state=[variable("position", *positions, start="p0"), variable("guard", "shut", "open")],
        rules=[rule("the guard would be hit", position=positions[0], guard="open")],
        moves=[] if locking else [Move("back", "Back", sets={"position": "p1"})],
    )


def test_bound_that_is_too_small_is_reported_and_a_larger_bound_is_enough() -> None:
    built = wide_procedure(14, locking=True)
    small = prove(built, bound=500)
    assert not small.complete
    found = only_finding(small, "not-explored")
    assert found.severity == "warning"
    assert "Check more with a larger --bound" in found.message
    assert (
        "There may be a shorter order" in only_finding(small, "dead-end").message
    )  # certain dead ends are reported within any bound
    large = prove(built)
    assert large.complete
    assert only_finding(large, "dead-end").order == ("to-13",)


def test_approximation_of_a_wide_group_agrees_with_exploring_it() -> None:
    built = wide_procedure(9, locking=False)
    quick, counted = (
        prove(built, reductions=Reductions(small_lattice=0)),
        prove(built, reductions=Reductions(approximation=False)),
    )
    assert quick.findings == counted.findings
    assert quick.complete
    assert quick.configurations < counted.configurations


def test_forty_unordered_operations_are_proven_within_a_small_bound() -> None:
    proof = prove(wide_procedure(40, locking=False), bound=10_000)
    assert proof.complete
    assert [finding.code for finding in proof.findings] == ["vacuous-rule"]  # nothing sets what its rule forbids


@pytest.mark.parametrize("reductions", [Reductions(), Reductions(approximation=False), Reductions(lattice=False)])
@pytest.mark.parametrize("count", [3, 14])
def test_move_that_breaks_a_rule_is_found_in_small_and_wide_groups(count: int, reductions: Reductions) -> None:
    """The rule can only be broken by the move: no operation sets the guard or the lock, and all need the guard shut."""
    built = wide_procedure(count, locking=False)
    built = replace(
        built,
        operations=tuple(replace(each, needs={**each.needs, "guard": ("shut",)}) for each in built.operations),
        state=(*built.state, variable("lock", "on", "off")),
        interference=(rule("the lock would break", lock="on", guard="open"),),
        moves=(*built.moves, move("open-guard", {"guard": "open"})),
    )
    proof = prove(built, reductions=reductions)
    assert proof.complete
    assert only_finding(proof, "interlock-needed").order == ("open-guard",)


# --- time windows -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("after", "codes"), [(("prime",), set()), ((), {"not-explored"})])
def test_order_that_the_states_forbid_does_not_prove_a_window(after: tuple[str, ...], codes: set[str]) -> None:
    """Drying takes 900 s. Without `after` the search tries to dry before priming, which only the states forbid."""
    window = TimeSince(Ref("prime"), None, Quantity(Decimal(1000), "s", "1000 s"), "at most 1000 s")
    drying = op("dry", *after, needs={"surface": "primed"}, sets={"surface": "dry"})
    built = procedure(
        op("prime", needs={"surface": "clean"}, sets={"surface": "primed"}),
        replace(drying, takes=Quantity(Decimal(900), "s", "900 s")),
        replace(op("paint", *after and ("dry",), needs={"surface": "dry"}), time=(window,)),
        state=[variable("surface", "clean", "primed", "dry")],
    )
    proof = prove(built)
    assert {finding.code for finding in proof.findings} == codes
    assert proof.complete == (not codes)


# --- choices of options -----------------------------------------------------------------------------


def test_too_many_choices_of_options_are_reported() -> None:
    options = [Option(f"o{i}", "?", ("x", "y")) for i in range(6)]
    built = procedure(*(op(f"a{i}", when=f"o{i}=x") for i in range(6)), options=options)
    assert prove(built).complete
    small = prove(built, bound=10_000)
    assert not small.complete
    assert "64" not in only_finding(small, "not-explored").message
    assert "more than 10 ways" in only_finding(small, "not-explored").message


def test_finding_names_the_choice_of_options() -> None:
    built = procedure(
        op("spin", when="kind=long", needs={"pistons": "at-deck"}),
        state=[replace(PISTONS, start="down")],
        options=[Option("colour", "Which?", ("red", "blue")), Option("kind", "Which?", ("short", "long"))],
    )
    assert only_finding(prove(built), "unreachable-operation").options == {"colour": "red", "kind": "long"}


def test_operation_after_a_cycle_does_not_break_a_rule() -> None:
    built = procedure(
        op("a", "b"),
        op("b", "a"),
        op("seat-cam", "a", during={"valves": "open"}),
        state=[PISTONS, VALVES],
        rules=[STRIKE],
    )
    proof = prove(built)
    assert {f.code for f in proof.findings} == {"order-cycle", "unreachable-operation", "dead-end"}
    assert proof.complete
