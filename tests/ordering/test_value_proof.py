"""Values that are not there in some build or order, remedies that cannot be carried out, settings never restored."""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from benchflow.ordering.actions import DoOperation, MakeMove
from benchflow.ordering.configuration import Configuration
from benchflow.ordering.interlock import action_reasons, after_action
from benchflow.ordering.proof import OrderFinding, prove
from benchflow.procedure.expand import expand
from benchflow.procedure.model import CalculatedValue, Procedure, RecordedValue, Ref, Remedy
from benchflow.procedure.reader import read
from tests.driving.script import procedure_with
from tests.ordering import brute_force
from tests.ordering.random_plans import examples, plans_of, random_procedures

OPTIONS = "options: {cams: {ask: Which cams?, choices: [stock, reground]}}\n"


def procedure_of(*operations: str, head: str = "") -> Procedure:
    result = read(procedure_with(*operations, head=head))
    assert result.procedure is not None, [str(problem) for problem in result.problems]
    return result.procedure


def findings(code: str, *operations: str, head: str = "") -> list[OrderFinding]:
    procedure = procedure_of(*operations, head=head)
    found = [each for each in prove(procedure).findings if each.code == code]
    for each in found:
        assert each.severity == "error"
        replay(procedure, each)
    return found


def replay(procedure: Procedure, found: OrderFinding) -> set[str]:
    """The steps done after the order of a finding. Each action must be allowed."""
    if not isinstance(found.order, tuple):
        return set()
    assert isinstance(found.start, dict)
    plan = expand(procedure, found.options if isinstance(found.options, dict) else {})
    here = Configuration(frozenset(), dict(found.start))
    for name in found.order:
        action = DoOperation(name) if name in plan.steps else MakeMove(name)
        assert not action_reasons(plan, here, action)
        here = after_action(plan, here, action)
    return set(here.done)


# --- value-absent --------------------------------------------------------------------------------------

BORE = "{id: one, title: One, record: {bore: {unit: mm}}}"


def test_formula_of_a_value_that_may_come_later_is_an_error_with_the_order() -> None:
    (found,) = findings("value-absent", BORE, "{id: two, title: Two, work-out: {gap: {is: bore - 1 mm, unit: mm}}}")
    assert found.order == ("two",)
    assert found.where == "two.work-out.gap.is"
    assert "`bore`" in found.message
    assert "“One”" in found.message
    assert "Add `one` to `after` of `two`" in found.message


@pytest.mark.parametrize("states", [3, 10])
def test_order_from_a_late_one_of_many_starts_is_found(states: int) -> None:
    """Only from the last start value of the first state can `two` be done before `one`."""
    names = [f"s{number}" for number in range(states)]
    head = "state:\n" + "".join(f"  {name}: {{values: ['off', 'on'], start: ask, ask: How}}\n" for name in names)
    others = [f"{{id: at-{name}, title: At, needs: {{{name}: ['off', 'on']}}}}" for name in names[1:]]
    two = "{id: two, title: Two, needs: {s0: 'on'}, work-out: {gap: {is: bore - 1 mm, unit: mm}}}"
    (found,) = findings("value-absent", BORE, two, *others, head=head)
    assert found.order == ("two",)


def test_values_are_not_proven_if_there_are_too_many_starts() -> None:
    names = [f"s{number}" for number in range(18)]
    head = "state:\n" + "".join(f"  {name}: {{values: ['off', 'on'], start: ask, ask: How}}\n" for name in names)
    needs = ", ".join(f"{name}: 'on'" for name in names)
    two = f"{{id: two, title: Two, needs: {{{needs}}}, work-out: {{gap: {{is: bore - 1 mm, unit: mm}}}}}}"
    proof = prove(procedure_of(BORE, two, head=head))
    assert not proof.complete
    assert "value-absent" in proof.undecided


@pytest.mark.parametrize(
    "use",
    [
        "work-out: {gap: {is: bore - 1 mm, unit: mm}}",
        "record: {journal: {unit: mm, limit: above bore by 0.1 .. 0.2 mm}}",
        "record: {journal: {unit: mm, limit: at most 5 mm, used: above bore by 0.1 .. 0.2 mm}}",
        "choose: {shim: {by: bore, from: [{up to: 1 mm, take: thin}]}}",
        "record: {on-hand: {unit: mm, readings: side}}, work-out: {lash: {is: bore - shims, unit: mm}}, "
        "match: {shims: {measured: on-hand, to: side, so that: lash, limit: 0.20 .. 0.30 mm}}",
    ],
)
def test_every_use_of_a_value_asks_for_its_operation(use: str) -> None:
    places = "places: {side: [left, right]}\n"
    user = f"{{id: two, title: Two, after: [WHERE], {use}}}"
    assert findings("value-absent", BORE, user.replace("after: [WHERE], ", ""), head=places)
    assert not findings("value-absent", BORE, user.replace("WHERE", "one"), head=places)


def test_measured_parts_of_a_matching_have_to_be_there() -> None:
    found = findings(
        "value-absent",
        "{id: one, title: One, record: {on-hand: {unit: mm, readings: side}}}",
        "{id: two, title: Two, record: {gap: {unit: mm, readings: side}}, "
        "work-out: {lash: {is: gap - shims, unit: mm}}, "
        "match: {shims: {measured: on-hand, to: side, so that: lash, limit: 0.20 .. 0.30 mm}}}",
        head="places: {side: [left, right]}\n",
    )
    assert [each.where for each in found] == ["two.match.shims.measured"]


def test_value_of_an_operation_left_out_of_a_build_is_an_error_with_the_options() -> None:
    (found,) = findings(
        "value-absent",
        "{id: one, title: One, when: {cams: reground}, record: {base: {unit: mm}}}",
        "{id: two, title: Two, after: [one], work-out: {growth: {is: 32 mm - base, unit: mm}}}",
        head=OPTIONS,
    )
    assert found.options == {"cams": "stock"}
    assert "where cams is stock" in found.message


def test_value_left_out_of_one_build_and_too_late_in_another_is_reported_for_both() -> None:
    found = findings(
        "value-absent",
        "{id: one, title: One, when: {cams: stock}, record: {base: {unit: mm}}}",
        "{id: two, title: Two, work-out: {growth: {is: 32 mm - base, unit: mm}}}",
        head=OPTIONS,
    )
    assert [each.options for each in found] == [{"cams": "stock"}, {"cams": "reground"}]
    assert [isinstance(each.order, tuple) for each in found] == [True, False]


def test_value_and_its_use_in_the_same_builds_are_fine() -> None:
    assert not findings(
        "value-absent",
        "{id: one, title: One, when: {cams: reground}, record: {base: {unit: mm}}}",
        "{id: two, title: Two, when: {cams: reground}, after: [one], work-out: {growth: {is: 32 mm - base, unit: mm}}}",
        head=OPTIONS,
    )


def test_value_of_the_same_operation_is_there() -> None:
    assert not findings(
        "value-absent",
        "{id: one, title: One, record: {a: {unit: mm}, b: {unit: mm, limit: above a by 1 .. 2 mm}}, "
        "work-out: {c: {is: a + b, unit: mm}, d: {is: c * 2, unit: mm}}, "
        "choose: {shim: {by: d, from: [{up to: 1 mm, take: thin}]}}}",
    )


def test_order_implied_by_states_is_enough() -> None:
    head = "state: {bores: {values: [dirty, measured], start: dirty}}\n"
    one = "{id: one, title: One, record: {bore: {unit: mm}}, sets: {bores: measured}}"
    two = "{id: two, title: Two, needs: {bores: measured}, work-out: {gap: {is: bore - 1 mm, unit: mm}}}"
    assert not findings("value-absent", one, two, head=head)
    asked = head.replace("start: dirty", "start: ask, ask: Bores?")
    (found,) = findings("value-absent", one, two, head=asked)
    assert found.start == {"bores": "measured"}


def test_every_place_of_a_star_has_to_be_there() -> None:
    head = "places: {side: [left, right]}\n"
    one = "{id: one, title: One, each: side, record: {bore: {unit: mm}}}"
    two = "{id: two, title: Two, after: ['one[left]'], work-out: {most: {is: 'max(bore[*])', unit: mm}}}"
    (found,) = findings("value-absent", one, two, head=head)
    assert found.order == ("one[left]", "two")
    assert "`bore[right]`" in found.message
    assert not findings("value-absent", one, two.replace("one[left]", "one[*]"), head=head)


def test_advice_names_the_places_of_a_repeated_operation() -> None:
    head = "places: {side: [left, right]}\n"
    one = "{id: one, title: One, each: side, record: {bore: {unit: mm}}}"
    two = "{id: two, title: Two, EACHwork-out: {most: {is: 'FORMULA', unit: mm}}}"
    for each, formula, entry in (
        ("", "max(bore[*])", "one[*]"),
        ("", "bore[right]", "one[right]"),
        ("each: side, ", "bore", "one"),
    ):
        (found,) = findings("value-absent", one, two.replace("FORMULA", formula).replace("EACH", each), head=head)[:1]
        assert f"Add `{entry}` to `after` of `two`" in found.message
        assert "“One” (`one[" in found.message
        added = two.replace("EACH", f"{each}after: ['{entry}'], ").replace("FORMULA", formula)
        assert not findings("value-absent", one, added, head=head)


def test_value_of_another_place_of_the_same_operation_is_not_advised_as_after() -> None:
    head = "places: {cap: [1, 2], side: [left, right]}\n"
    one = "{id: m, title: Measure, each: cap, record: {x: {unit: mm, readings: side}}, "
    found = findings("value-absent", one + "work-out: {d: {is: 'x[2, left]', unit: mm}}}", head=head)
    assert found
    for each in found:
        assert "“Measure” (`m[2]`)" in each.message
        assert "Add `" not in each.message
        assert "Move `d` to an operation with `after: ['m[*]']`" in each.message


def test_after_that_would_be_a_circle_is_not_advised() -> None:
    one = "{id: a, title: A, AFTERrecord: {x: {unit: mmLIMIT}}}"
    two = "{id: b, title: B, record: {y: {unit: mm, limit: above x by 1 .. 2 mm}}}"
    for after, limit in (("after: [b], ", ""), ("", ", limit: above y by 1 .. 2 mm")):
        found = findings("value-absent", one.replace("AFTER", after).replace("LIMIT", limit), two)
        assert found
        for each in found:
            assert "Add `" not in each.message
            assert "would be a circle" in each.message


def test_same_place_is_enough_for_a_plain_name() -> None:
    head = "places: {side: [left, right]}\n"
    one = "{id: one, title: One, each: side, record: {bore: {unit: mm}}}"
    two = "{id: two, title: Two, each: side, after: [one], work-out: {gap: {is: bore - 1 mm, unit: mm}}}"
    assert not findings("value-absent", one, two, head=head)


def test_every_absent_value_of_a_formula_is_reported() -> None:
    found = findings(
        "value-absent",
        "{id: one, title: One, record: {a: {unit: mm}, b: {unit: mm}}}",
        "{id: two, title: Two, work-out: {c: {is: a + b, unit: mm}}}",
    )
    assert len(found) == 2


@st.composite
def procedures_with_values(draw: st.DrawFn) -> Procedure:
    """A random procedure in which some operations record a value and some calculate with the value of any other."""
    procedure = draw(random_procedures(most_operations=5, with_undo=True))
    operations = []
    count = len(procedure.operations)
    for number, operation in enumerate(procedure.operations):
        used = draw(st.lists(st.integers(0, count - 1), max_size=2, unique=True))
        redone = draw(st.lists(st.integers(0, count - 1), max_size=1))
        remedies = tuple(Remedy("Do it again", (Ref(f"op{other}"),), mark=operation.mark) for other in redone)
        operations.append(
            replace(
                operation,
                record=(RecordedValue(f"x{number}", "X", "mm", "length", above=remedies, mark=operation.mark),),
                work_out=tuple(
                    CalculatedValue(f"y{number}-{other}", f"x{other} * 2", "mm", "length", mark=operation.mark)
                    for other in used
                ),
            )
        )
    return replace(procedure, operations=tuple(operations))


def allowed_starts(procedure: Procedure) -> list[brute_force.Node]:
    return [
        (frozenset[str](), brute_force.value_pairs(start))
        for start in brute_force.starts(procedure)
        if not brute_force.breaks_a_rule(procedure, start)
    ]


def pairs_out_of_order(procedure: Procedure) -> tuple[set[tuple[str, str]], set[tuple[str, str]], set[tuple[str, str]]]:
    """By brute force over all builds and orders: pairs of steps (earlier, later) of which the later can come first.

    Also the pairs whose earlier step is not part of a build with the later one, and the pairs of which some order
    does both.
    """
    first, missing, both = set(), set(), set()
    everything = [operation.id for operation in procedure.operations]
    for plan in plans_of(procedure):
        reached = brute_force.distances(plan, allowed_starts(procedure))
        for node in reached:
            for (kind, name), _ in brute_force.allowed_actions(plan, node):
                if kind != "operation":
                    continue
                for other in everything:
                    if other not in plan.steps:
                        missing.add((other, name))
                    elif other != name and other not in node[0]:
                        first.add((other, name))
                    else:
                        both.add((other, name))
    return first, missing, both


@given(procedures_with_values())
@settings(max_examples=examples(60), deadline=None)
def test_value_proof_agrees_with_a_search_over_all_builds_and_orders(procedure: Procedure) -> None:
    proof = prove(procedure)
    assert proof.complete or not allowed_starts(procedure)
    first, missing, _ = pairs_out_of_order(procedure)
    expected = {
        (operation.id, work.name)
        for operation in procedure.operations
        for work in operation.work_out
        if (f"op{work.name.split('-')[1]}", operation.id) in first | missing
    }
    found = set()
    for each in proof.findings:
        if each.code == "value-absent":
            operation, _, name, _ = each.where.split(".")
            found.add((operation, name))
            done = replay(procedure, each)
            if isinstance(each.order, tuple):
                assert each.order[-1] == operation
                assert f"op{name.split('-')[1]}" not in done
    assert found == expected


# --- unreachable-remedy ----------------------------------------------------------------------------------

MEASURE = "{id: measure, title: Measure, AFTERrecord: {gap: {limit: at most 1 mm, above: [{do: Again, redo: [REDO]}]}}}"
FIT = "{id: fit, title: Fit, undo: {do: Take it off}}"


def measure(after: str, redo: str) -> str:
    return MEASURE.replace("AFTER", f"after: [{after}], " if after else "").replace("REDO", redo)


def test_redo_of_an_earlier_operation_with_undo_is_fine() -> None:
    assert not findings("unreachable-remedy", FIT, measure("fit", "fit"))


def test_operation_may_redo_itself_without_undo() -> None:
    assert not findings("unreachable-remedy", measure("", "measure"))


def test_redo_of_an_operation_that_may_come_later_is_an_error() -> None:
    (found,) = findings("unreachable-remedy", FIT, measure("", "fit"))
    assert found.order == ("measure",)
    assert found.where == "measure.record.gap.above[1].redo"
    assert "“Fit”" in found.message


def test_redo_of_a_later_operation_is_an_error() -> None:
    (found,) = findings("unreachable-remedy", measure("", "fit"), FIT.replace("title", "after: [measure], title"))
    assert found.order == ("measure",)


def test_redo_of_an_operation_without_undo_is_an_error() -> None:
    (found,) = findings("unreachable-remedy", "{id: fit, title: Fit}", measure("fit", "fit"))
    assert "no `undo`" in found.message


def test_redo_of_nothing_in_some_build_is_an_error() -> None:
    fit = FIT.replace("title", "when: {cams: stock}, title")
    (found,) = findings("unreachable-remedy", fit, measure("fit", "fit"), head=OPTIONS)
    assert found.options == {"cams": "reground"}
    assert "where cams is reground" in found.message
    other = "{id: fit-2, title: Fit 2, when: {cams: reground}, undo: {do: Take it off}}"
    both = measure("fit, fit-2", "fit, fit-2")
    assert not findings("unreachable-remedy", fit, other, both, head=OPTIONS)
    same = measure("fit", "fit").replace("title", "when: {cams: stock}, title")
    assert not findings("unreachable-remedy", fit, same, head=OPTIONS)


@pytest.mark.parametrize("lasting", ["sets: {crank: down}, ", "uses: [ring], "])
def test_redo_of_itself_needs_undo_if_something_lasts(lasting: str) -> None:
    head = STATE + "kit: {parts: {ring: {title: R, quantity: 1, lot: required}}}\n"
    itself = measure("", "measure").replace("record", f"{lasting}record")
    (found,) = findings("unreachable-remedy", itself, head=head)
    assert "has no `undo`" in found.message
    assert not findings("unreachable-remedy", itself.replace("record", "undo: {do: x}, record"), head=head)


@pytest.mark.parametrize(
    ("sets", "found", "errors"),
    [("down", "", 1), ("ask", ", found: never", 1), ("ask", "", 0), ("up", "", 0)],
)
def test_remedy_has_to_leave_a_way_back(sets: str, found: str, errors: int) -> None:
    head = f"state: {{crank: {{values: [up, down], start: up{found}}}}}\n"
    fit = f"{{id: fit, title: Fit, needs: {{crank: up}}, undo: {{do: x, sets: {{crank: {sets}}}}}}}"
    got = findings("unreachable-remedy", fit, measure("fit", "fit"), head=head)
    assert len(got) == errors
    assert all("cannot be done again" in each.message for each in got)
    assert not findings("unreachable-remedy", fit, measure("fit", "fit"), head=head + MOVE)


def test_setting_that_names_itself_is_never_restored() -> None:
    (found,) = findings("never-restored", "{id: hold, title: Hold, temporary: {restored-by: hold}}")
    assert "names itself" in found.message


def test_remedy_of_a_calculated_value_is_checked_too() -> None:
    calculated = (
        "{id: measure, title: Measure, record: {gap: {unit: mm}}, work-out: {half: {is: gap / 2, unit: mm, "
        "limit: at most 1 mm, above: [{do: Again, redo: [fit]}]}}}"
    )
    (found,) = findings("unreachable-remedy", FIT, calculated)
    assert found.where == "measure.work-out.half.above[1].redo"


STATE = "state: {crank: {values: [up, down], start: up}}\n"
MOVE = "moves: {turn: {title: Turn, sets: {crank: up}}}\n"
NEEDY = "{id: fit, title: Fit, needs: {crank: up}, undo: {do: Take it off, needs: {crank: up}}}"
TURN = (
    "{id: turn-down, title: Turn it down, after: [fit], sets: {crank: down}, undo: {do: Nothing, sets: {crank: down}}}"
)


def test_needs_of_an_undo_that_no_move_brings_about_are_an_error() -> None:
    (found,) = findings("unreachable-remedy", NEEDY, TURN, measure("turn-down", "fit"), head=STATE)
    assert found.order == ("fit", "turn-down", "measure")
    assert "no moves make that possible" in found.message
    assert not findings("unreachable-remedy", NEEDY, TURN, measure("turn-down", "fit"), head=STATE + MOVE)


TAKEN_BACK = "{id: m, title: M, BETWEEN}"


@pytest.mark.parametrize(
    ("between", "head"),
    [
        ("after: [fit]", ""),
        ("needs: {crank: down}", "state: {crank: {values: [up, down], start: up}}\n"),
        ("temporary: {restored-by: restore}", ""),
        ("temporary: {restored-by: restore}, after: [fit]", ""),
    ],
)
@pytest.mark.parametrize("after", ["fit", "fit, m"])
def test_redo_that_takes_back_an_operation_without_undo_is_an_error(between: str, head: str, after: str) -> None:
    fit = FIT.replace("undo", "sets: {crank: down}, undo") if head else FIT
    middle, last = TAKEN_BACK.replace("BETWEEN", between), "{id: restore, title: Restore, after: [measure]}"
    (found,) = findings("unreachable-remedy", fit, middle, measure(after, "fit"), last, head=head)
    assert isinstance(found.order, tuple)
    assert found.order == ("fit", "m", "measure")
    assert "takes back “M” too" in found.message
    undone = middle.replace("title", "undo: {do: Take it off}, title")
    assert not findings("unreachable-remedy", fit, undone, measure(after, "fit"), last, head=head)


def test_redo_does_not_take_back_what_does_not_depend_on_it() -> None:
    setting = "{id: m, title: M, temporary: {restored-by: restore}}"
    assert not findings("unreachable-remedy", FIT, "{id: m, title: M}", measure("fit, m", "fit"))
    restore = "{id: restore, title: Restore, after: [m]}"
    assert not findings("unreachable-remedy", FIT, setting, restore, measure("fit, restore", "fit"))
    assert not findings("unreachable-remedy", FIT, "{id: m, title: M, after: [measure]}", measure("fit", "fit"))


def test_redo_at_another_place_is_not_asked_for() -> None:
    head = "places: {side: [left, right]}\n"
    fit = FIT.replace("title", "each: side, title")
    place = measure("fit", "fit").replace("title: Measure", "each: side, title: Measure")
    assert not findings("unreachable-remedy", fit, place, head=head)
    once = measure("'fit[left]'", "fit")
    (found,) = findings("unreachable-remedy", fit, once, head=head)
    assert found.order == ("fit[left]", "measure")


@given(procedures_with_values())
@settings(max_examples=examples(60), deadline=None)
def test_remedy_proof_agrees_with_a_search_over_all_builds_and_orders(procedure: Procedure) -> None:
    first, missing, both = pairs_out_of_order(procedure)
    by_id = procedure.operations_by_id
    expected = set()
    for operation in procedure.operations:
        for remedy in operation.record[0].above:
            other = remedy.redo[0].name
            pair = other, operation.id
            no_undo = by_id[other].undo is None
            if other == operation.id:
                unreachable = no_undo and bool(operation.sets) and pair in both
            else:
                unreachable = pair in first | missing or (no_undo and pair in both)
            if unreachable:
                expected.add(operation.id)
    found = [each for each in prove(procedure).findings if each.code == "unreachable-remedy"]
    for each in found:
        replay(procedure, each)
    assert expected <= {each.where.split(".")[0] for each in found}
    others = [each for each in found if each.where.split(".")[0] not in expected]
    for each in others:
        if "cannot be done again" in each.message:
            continue
        if "takes back" in each.message:
            assert isinstance(each.order, tuple)
            redone = each.order.index(by_id[each.order[-1]].record[0].above[0].redo[0].name)
            assert any(name in by_id and by_id[name].undo is None for name in each.order[redone + 1 : -1])
        else:
            assert "no moves make that possible" in each.message


# --- never-restored ---------------------------------------------------------------------------------------

HOLD = "{id: hold, title: Hold, temporary: {restored-by: release}}"
RELEASE = "{id: release, title: Release}"


def test_setting_that_may_come_after_what_restores_it_is_an_error() -> None:
    (found,) = findings("never-restored", HOLD, RELEASE)
    assert found.order == ("release",)
    assert not findings("never-restored", HOLD, RELEASE.replace("title", "after: [hold], title"))
    assert not findings("never-restored", HOLD, RELEASE.replace("title", "undo: {do: Hold it again}, title"))


def test_setting_that_a_build_does_not_restore_is_an_error() -> None:
    (found,) = findings(
        "never-restored", HOLD, RELEASE.replace("title", "after: [hold], when: {cams: stock}, title"), head=OPTIONS
    )
    assert found.options == {"cams": "reground"}


def test_every_combination_of_builds_is_asked_for_its_values() -> None:
    head = "options: {a: {ask: A?, choices: [x, y]}, b: {ask: B?, choices: [x, y]}}\n"
    for first, second in product("xy", repeat=2):
        found = findings(
            "value-absent",
            f"{{id: one, title: One, when: {{a: {first}}}, record: {{bore: {{unit: mm}}}}}}",
            f"{{id: two, title: Two, when: {{b: {second}}}, after: [one], work-out: {{gap: {{is: bore, unit: mm}}}}}}",
            head=head,
        )
        assert [each.options for each in found] == [{"a": "y" if first == "x" else "x", "b": second}]
