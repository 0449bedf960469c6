"""What comes after an operation that is not part of the build comes after what that operation came after."""

from itertools import product

from hypothesis import given, settings

from benchflow.procedure.expand import expand, prerequisites
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from benchflow.procedure.reader import read
from tests.ordering.random_plans import examples, random_procedures

HEAD = """benchflow: 1
id: trial
title: A trial
revision: "1"
options: {bolts: {choices: [new, used]}, seal: {choices: [paste, gasket]}}
places: {cylinder: [1, 2]}
sections:
- title: All
  operations:
"""


def plan(*operations: str, **options: str) -> Plan:
    reading = read(HEAD + "".join(f"  - {operation}\n" for operation in operations))
    assert reading.procedure is not None, [str(problem) for problem in reading.problems]
    return expand(reading.procedure, {"bolts": "used", "seal": "paste", **options})


def test_order_passes_through_an_operation_left_out() -> None:
    made = plan(
        "{id: fit, title: Fit}",
        "{id: unpack, title: Unpack the bolts, when: {bolts: new}, after: fit}",
        "{id: tighten, title: Tighten, after: unpack}",
    )
    assert made.steps["tighten"].after == ("fit",)


def test_order_passes_through_several_operations_left_out() -> None:
    made = plan(
        "{id: clean, title: Clean}",
        "{id: a, title: A, when: {bolts: new}, after: clean}",
        "{id: b, title: B, when: {seal: gasket}, after: a}",
        "{id: z, title: Z, after: [clean, b]}",
    )
    assert made.steps["z"].after == ("clean",)


def test_order_passes_through_at_the_same_place() -> None:
    made = plan(
        "{id: bore, title: B, each: cylinder}",
        "{id: hone, title: H, each: cylinder, when: {bolts: new}, after: bore}",
        "{id: ring, title: R, each: cylinder, after: hone}",
        "{id: close, title: C, after: hone}",
    )
    assert made.steps["ring[2]"].after == ("bore[2]",)
    assert made.steps["close"].after == ("bore[1]", "bore[2]")


def test_order_passes_through_a_section_left_out() -> None:
    text = (
        HEAD + "  - {id: clean, title: Clean}\n"
        "- title: Bolts\n  operations: [{id: unpack, title: U, when: {bolts: new}, after: clean}]\n"
        "- title: End\n  operations: [{id: z, title: Z, after: bolts}]\n"
    )
    reading = read(text)
    assert reading.procedure is not None, [str(problem) for problem in reading.problems]
    made = expand(reading.procedure, {"bolts": "used", "seal": "paste"})
    assert made.steps["z"].after == ("clean",)


def test_time_window_since_an_operation_left_out_keeps_the_order_alone() -> None:
    made = plan(
        "{id: clean, title: Clean}",
        "{id: paste, title: P, when: {seal: gasket}, time: {clean: at most 1 h}}",
        "{id: close, title: C, time: {paste: at most 10 min}}",
    )
    assert made.steps["close"].after == ("clean",)
    assert made.steps["close"].time == ()


def directly_after(procedure: Procedure, built: set[str]) -> dict[str, set[str]]:
    """For each operation of a build, the others that a path of `after` through operations left out leads to.

    It is computed by paths alone, one pair at a time, and shares no code with the expansion.
    """
    lines = {(op.id, ref.name) for op in procedure.operations for ref in op.after}

    def leads(later: str, earlier: str, tried: frozenset[str]) -> bool:
        if (later, earlier) in lines:
            return True
        through = {b for a, b in lines if a == later and b not in built and b not in tried}
        return any(leads(one, earlier, tried | {one}) for one in through)

    return {later: {earlier for earlier in built if leads(later, earlier, frozenset())} for later in built}


@given(random_procedures(most_operations=7, most_variables=1, with_cycles=True))
@settings(max_examples=examples(150), deadline=None)
def test_plan_agrees_with_paths_through_operations_left_out(procedure: Procedure) -> None:
    for chosen in product(*(option.choices for option in procedure.options)):
        options = {option.name: take for option, take in zip(procedure.options, chosen, strict=True)}
        made = expand(procedure, options)
        assert {name: set(step.after) for name, step in made.steps.items()} == directly_after(
            procedure, set(made.steps)
        )
        for operation in procedure.operations:
            if operation.id in made.steps:
                assert prerequisites(made, operation.id) == (operation.id,)
