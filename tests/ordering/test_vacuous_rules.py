"""Rules about a state that nothing brings about, compared with brute force on random small procedures."""

from collections.abc import Iterator, Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from benchflow.ordering.proof import prove
from benchflow.procedure.model import Mark, Procedure, Rule
from benchflow.procedure.plan import Plan
from benchflow.procedure.reader import read
from tests.driving.script import procedure_with
from tests.ordering import brute_force
from tests.ordering.random_plans import examples, plans_of, random_procedures

HEAD = (
    "state: {rotor: {values: [free, held, stuck], start: free}, door: {values: [shut, open], start: shut}}\n"
    "options: {side: {choices: [in, out]}}\n"
)


def _found(*operations: str, rule: str, head: str = HEAD) -> list[tuple[str, str]]:
    reading = read(procedure_with(*operations, head=f"{head}interference: [{{never: {{{rule}}}, because: it jams}}]\n"))
    assert reading.procedure is not None, [str(problem) for problem in reading.problems]
    return [(one.where, one.message) for one in prove(reading.procedure).findings if one.code == "vacuous-rule"]


OPEN = "{id: open, title: Open, sets: {door: open}}"


@pytest.mark.parametrize(
    ("operations", "text"),
    [
        ([OPEN], "Nothing brings about “Rotor is stuck”"),
        ([OPEN, "{id: hold, title: Hold, sets: {rotor: held}}"], "Nothing brings about “Rotor is stuck”"),
        (["{id: seize, title: Seize, sets: {rotor: stuck}}"], "Nothing brings about “Door is open”"),
        (
            ["{id: seize, title: Seize, sets: {rotor: stuck, door: shut}}",
             "{id: open, title: Open, sets: {door: open, rotor: free}}"],
            "brings “Rotor is stuck” and “Door is open” together",
        ),
    ],
)  # fmt: skip
def test_rule_that_nothing_can_break_is_reported(operations: list[str], text: str) -> None:
    ((where, message),) = _found(*operations, rule="rotor: stuck, door: open")
    assert where == "interference[1]"
    assert message.startswith("This rule never blocks anything. ")
    assert text in message


SEIZE = "{id: seize, title: Seize, sets: {rotor: stuck}}"


@pytest.mark.parametrize(
    ("operations", "head"),
    [
        ([OPEN, SEIZE], HEAD),
        (["{id: open, title: Open, sets: {door: open}, needs: {rotor: free}}", SEIZE], HEAD),  # safe by a `needs`
        ([OPEN, "{id: seize, title: Seize, after: open, during: {rotor: stuck}}"], HEAD),
        ([OPEN, "{id: seize, title: Seize, sets: {rotor: {by: side, in: free, out: stuck}}}"], HEAD),
        ([OPEN, "{id: mend, title: Mend, sets: {rotor: held}, undo: {do: x, sets: {rotor: stuck}}}"], HEAD),
        ([OPEN, "{id: see, title: See, check: [{see: x, proves: rotor}]}"], HEAD),  # not known if it is waived
        ([OPEN], HEAD.replace("start: free", "start: ask")),
        ([OPEN], HEAD.replace("start: free", "start: free, found: inspector")),
        ([OPEN], HEAD + "moves: {turn: {sets: {rotor: stuck}}}\n"),
    ],
)
def test_rule_that_could_be_broken_is_not_reported(operations: list[str], head: str) -> None:
    assert _found(*operations, rule="rotor: stuck, door: open", head=head) == []


def test_operations_of_different_builds_do_not_come_together() -> None:
    operations = OPEN.replace("title", "when: {side: in}, title"), SEIZE.replace("title", "when: {side: out}, title")
    assert len(_found(*operations, rule="rotor: stuck, door: open")) == 1


def test_rule_by_place_is_reported_once_and_only_if_no_place_can_break_it() -> None:
    head = (
        "places: {cap: [1, 2]}\n"
        "state: {rotor: {each: cap, values: [free, stuck], start: free}, door: {values: [shut, open], start: shut}}\n"
    )
    assert len(_found(OPEN, rule="rotor: stuck, door: open", head=head)) == 1
    one = "{id: seize, title: Seize, sets: {'rotor[2]': stuck}}"
    assert _found(OPEN, one, rule="rotor: stuck, door: open", head=head) == []


# --- brute force ------------------------------------------------------------------------------------


def _writings(plan: Plan) -> Iterator[tuple[Mapping[str, str], Mapping[str, str]]]:
    yield from ((step.during, step.sets) for step in plan.steps.values())
    yield from ((move.during, move.sets) for move in brute_force.moves(plan))


def _can_be_broken(plan: Plan, rule: Rule) -> bool:
    """True if free writing of all variables, in any order and again, meets the rule: by a walk over whole states."""
    alone = replace(plan.procedure, interference=(rule,))
    states = {brute_force.value_pairs(start) for start in brute_force.starts(plan.procedure)}
    while True:
        known = [dict(pairs) for pairs in states]
        if any(brute_force.breaks_a_rule(alone, values) for values in known):
            return True
        more = set(states)
        for values in known:
            for during, sets in _writings(plan):
                if brute_force.breaks_a_rule(alone, {**values, **during}):
                    return True
                more.add(brute_force.value_pairs({**values, **sets}))
        if more == states:
            return False
        states = more


@settings(max_examples=examples(300), deadline=None)
@given(random_procedures(most_operations=4), st.data())
def test_vacuous_rules_agree_with_brute_force(procedure: Procedure, data: st.DataObject) -> None:
    rules = tuple(replace(rule, mark=Mark(n, 1)) for n, rule in enumerate(procedure.interference, 1))
    procedure = replace(procedure, interference=rules)
    proof = prove(procedure)
    if "vacuous-rule" in proof.undecided:
        return
    plans = list(plans_of(procedure))
    expected = {
        f"interference[{number}]"
        for number, rule in enumerate(rules, 1)
        if not any(_can_be_broken(plan, rule) for plan in plans)
    }
    assert {one.where for one in proof.findings if one.code == "vacuous-rule"} == expected
    # a rule that the interlock enforces in some order is never called vacuous
    for plan in plans:
        for where in expected:
            only = replace(procedure, interference=(rules[int(where[13:-1]) - 1],))
            truth = brute_force.Verdicts(replace(plan, procedure=only))
            assert truth.breach is None
