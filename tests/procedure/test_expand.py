"""Expansion of a procedure to the plan of one build: places, prerequisites, options and texts."""

import pytest

from benchflow.procedure import model
from benchflow.procedure.expand import expand, option_choices, resolve
from benchflow.procedure.plan import Plan
from benchflow.procedure.reader import read

HEAD = """benchflow: 1
id: trial
title: A trial
options:
  cams: {ask: Which cams?, choices: [stock, reground]}
  paint: {ask: Which colour?, choices: [red, black]}
places: {cylinder: [1, 2], valve: [a, b, c]}
state: {pistons: {values: [at-deck, down], start: ask}}
kit: {parts: {seal: A seal}}
sections:
"""


def plan(sections: str, options: dict[str, str] | None = None, head: str = HEAD) -> Plan:
    reading = read(head + sections)
    assert reading.procedure is not None, [str(problem) for problem in reading.problems]
    return expand(reading.procedure, options or {})


def after(made: Plan) -> dict[str, tuple[str, ...]]:
    return {name: step.after for name, step in made.steps.items()}


def ops(*operations: str, title: str = "All") -> str:
    return f"  - title: {title}\n    operations:\n" + "".join(f"      - {operation}\n" for operation in operations)


def test_repeated_operation_gives_one_step_per_place_in_order() -> None:
    made = plan(ops("{id: a, title: A}", '{id: seat, title: "Seat {cylinder}", each: cylinder}', "{id: z, title: Z}"))
    assert list(made.steps) == ["a", "seat[1]", "seat[2]", "z"]
    assert [step.title for step in made.steps.values()] == ["A", "Seat 1", "Seat 2", "Z"]
    assert [step.place for step in made.steps.values()] == [None, "1", "2", None]
    assert made.number("seat[2]") == 3


def test_id_without_place_means_the_same_place_or_all_places() -> None:
    made = plan(
        ops(
            "{id: bore, title: B, each: cylinder}",
            "{id: ring, title: R, each: cylinder, after: bore}",
            "{id: valve, title: V, each: valve, after: bore}",
            "{id: close, title: C, after: ring}",
        )
    )
    assert after(made)["ring[2]"] == ("bore[2]",)
    assert after(made)["valve[a]"] == ("bore[1]", "bore[2]")
    assert after(made)["close"] == ("ring[1]", "ring[2]")


def test_one_place_or_all_places_can_be_named() -> None:
    made = plan(
        ops(
            "{id: bore, title: B, each: cylinder}",
            "{id: ring, title: R, each: cylinder, after: ['bore[*]']}",
            "{id: one, title: O, after: ['bore[2]']}",
            "{id: two, title: O, each: cylinder, after: ['bore[1]']}",
        )
    )
    assert after(made)["ring[1]"] == ("bore[1]", "bore[2]")
    assert after(made)["one"] == ("bore[2]",)
    assert after(made)["two[2]"] == ("bore[1]",)


def test_after_a_section_means_after_all_its_operations() -> None:
    made = plan(
        ops("{id: a, title: A}", "{id: b, title: B, each: cylinder}", title="First part")
        + ops("{id: c, title: C, after: first-part}", "{id: d, title: D, each: cylinder, after: [first-part]}")
    )
    assert after(made)["c"] == ("a", "b[1]", "b[2]")
    assert after(made)["d[1]"] == ("a", "b[1]", "b[2]")


def test_order_passes_through_an_operation_outside_the_build() -> None:
    sections = ops(
        "{id: a, title: A}",
        "{id: b, title: B, when: {cams: reground}, after: a}",
        "{id: c, title: C, after: [b, a]}",
        "{id: d, title: D, time: {b: at most 5 min}}",
    )
    stock = plan(sections, {"cams": "stock", "paint": "red"})
    assert after(stock) == {"a": (), "c": ("a",), "d": ("a",)}
    assert stock.steps["d"].time == ()
    reground = plan(sections, {"cams": "reground", "paint": "red"})
    assert after(reground) == {"a": (), "b": ("a",), "c": ("b", "a"), "d": ("b",)}


def test_operation_of_an_unanswered_option_is_left_out() -> None:
    assert list(plan(ops("{id: a, title: A, when: {cams: [stock, reground]}}", "{id: b, title: B}")).steps) == ["b"]


def test_time_window_implies_after_and_is_in_seconds() -> None:
    made = plan(
        ops(
            "{id: seal, title: S}",
            "{id: prime, title: P}",
            "{id: down, title: D, after: seal, time: {seal: at most 10 min, prime: 30 min .. 4 h}, takes: 90 s}",
        )
    )
    down = made.steps["down"]
    assert down.after == ("seal", "prime")
    assert [(window.operation, window.low, window.high) for window in down.time] == [
        ("seal", None, 600.0),
        ("prime", 1800.0, 14400.0),
    ]
    assert (down.takes, made.steps["seal"].takes) == (90.0, 0.0)


def test_time_window_between_repeated_operations_is_per_place() -> None:
    made = plan(
        ops("{id: glue, title: G, each: cylinder}", "{id: set, title: S, each: cylinder, time: {glue: at most 5 min}}")
    )
    assert [window.operation for window in made.steps["set[2]"].time] == ["glue[2]"]


def test_names_of_repeated_values_have_their_place_everywhere() -> None:
    made = plan(
        ops(
            """{id: fit, title: F, each: cylinder,
         record: {bore: {ask: "Bore {cylinder}", unit: mm}, size: {unit: mm},
                  drag: {unit: mm, limit: above bore by 0.1 .. 0.2 mm,
                         above: [{do: "Hone {cylinder}", redo: [fit]}]}},
         work-out: {gap: {is: "bore - size + 2 * (bore - 80 mm)", unit: mm, title: "Gap {cylinder}"}},
         choose: {ring: {by: gap, from: [{up to: 1 mm, take: thin}]}}}"""
        )
    )
    fit = made.steps["fit[2]"].operation
    assert [record.name for record in fit.record] == ["bore[2]", "size[2]", "drag[2]"]
    assert fit.record[0].ask == "Bore 2"
    assert isinstance(fit.record[2].bound, model.AboveReading)
    assert fit.record[2].bound.name == "bore[2]"
    assert fit.record[2].above[0].do == "Hone 2"
    assert [ref.name for ref in fit.record[2].above[0].redo] == ["fit[2]"]
    assert fit.work_out[0].name == "gap[2]"
    assert fit.work_out[0].formula == "bore[2] - size[2] + 2 * (bore[2] - 80 mm)"
    assert fit.work_out[0].title == "Gap 2"
    assert (fit.choose[0].name, fit.choose[0].by) == ("ring[2]", "gap[2]")


def test_names_of_other_values_are_unchanged() -> None:
    made = plan(
        ops(
            "{id: a, title: A, record: {deck: {unit: mm}}}",
            "{id: b, title: B, each: cylinder, after: a, record: {proud: {unit: mm}}, "
            "work-out: {gap: {is: proud - deck, unit: mm}}}",
        )
    )
    assert made.steps["b[1]"].operation.work_out[0].formula == "proud[1] - deck"


def test_placeholders_are_filled_in_all_texts() -> None:
    made = plan(
        ops(
            """{id: fit, title: "Fit {cylinder}", each: cylinder, do: "Into {cylinder}, not {{other}}",
         because: "For {cylinder}", cautions: [{notice: "Mind {cylinder}"}], check: ["Free in {cylinder}"],
         hold: {by: inspector, for: "ring of {cylinder}"}, undo: {do: "Out of {cylinder}", discard: seal}}"""
        )
    )
    one = made.steps["fit[1]"].operation
    assert (one.do, one.because, one.cautions[0].text) == ("Into 1, not {other}", "For 1", "Mind 1")
    assert [point.text for point in one.check] == ["Free in 1"]
    assert one.hold is not None
    assert one.hold.for_ == "ring of 1"
    assert one.undo is not None
    assert one.undo.do == "Out of 1"


def test_step_keeps_the_state_of_its_operation() -> None:
    made = plan(
        ops("{id: a, title: A, needs: {pistons: down}, during: {pistons: down}, sets: {pistons: at-deck}, "
            "undo: {do: Off, needs: {pistons: [down, at-deck]}, sets: {pistons: down}}}")
    )  # fmt: skip
    step = made.steps["a"]
    assert (step.needs, step.during, step.sets) == ({"pistons": ("down",)}, {"pistons": "down"}, {"pistons": "at-deck"})
    assert (step.undo_needs, step.undo_sets) == ({"pistons": ("down", "at-deck")}, {"pistons": "down"})


def test_all_combinations_of_answers_are_listed() -> None:
    procedure = read(HEAD + ops("{id: a, title: A, when: {cams: stock}}")).procedure
    assert procedure is not None
    assert [tuple(answers.values()) for answers in option_choices(procedure)] == [
        ("stock", "red"), ("stock", "black"), ("reground", "red"), ("reground", "black"),
    ]  # fmt: skip
    assert list(option_choices(procedure, ordering_only=True)) == [{"cams": "stock"}, {"cams": "reground"}]


def test_procedure_without_options_has_one_combination() -> None:
    text = HEAD.replace(HEAD[HEAD.index("options:") : HEAD.index("places:")], "") + ops("{id: a, title: A}")
    procedure = read(text).procedure
    assert procedure is not None
    assert list(option_choices(procedure)) == [{}]


@pytest.mark.parametrize(
    ("ref", "step", "found"),
    [
        ("seat", None, ("seat[1]", "seat[2]")),
        ("seat", "seat[2]", ("seat[2]",)),
        ("seat", "a", ("seat[1]", "seat[2]")),
        ("seat[*]", "seat[2]", ("seat[1]", "seat[2]")),
        ("a", "seat[2]", ("a",)),
        ("all", None, ("a", "seat[1]", "seat[2]")),
        ("gone", None, ()),
    ],
)
def test_reference_resolves_to_steps(ref: str, step: str | None, found: tuple[str, ...]) -> None:
    made = plan(
        ops("{id: a, title: A}", "{id: seat, title: S, each: cylinder}", "{id: gone, title: G, when: {cams: stock}}")
    )
    assert resolve(made, ref, made.steps[step] if step else None) == found
