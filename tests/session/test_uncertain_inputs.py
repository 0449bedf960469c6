"""Uncertainty of equal readings, independent and compared readings, and temperatures in K. All numbers are invented."""

from pathlib import Path
from typing import Any

import pytest

from tests.driving.script import Json, Script, intent, open_intent, procedure_with

HEAD = "decision: guarded\ninstruments: {mic: {kind: length, uncertainty: at most 0.004 mm}}\n"


def measured(folder: Path, record: str, *entries: Json, work_out: str = "", head: str = HEAD) -> Script:
    calculated = f", work-out: {{{work_out}}}" if work_out else ""
    script = Script(folder, procedure_with(f"{{id: a, title: A, record: {{{record}}}{calculated}}}", head=head))
    script.do_all(open_intent(), intent("start", operation="a"), *entries)
    return script


def reading(name: str, value: str, **fields: object) -> Json:
    return intent("record", name=name, value=value, **fields)


def last_calculated(script: Script) -> dict[str, Any]:
    data: dict[str, Any] = [line["data"] for line in script.log() if line["kind"] == "calculated"][-1]
    return data


TWO_EQUAL = (reading("x", "1.000 mm", reading=1), reading("x", "1.000 mm", reading=2))


@pytest.mark.parametrize("limit", ["judge: spread, limit: at most 0.05 mm", "limit: equal within 0.05 mm"])
def test_equal_readings_have_a_proven_spread(tmp_path: Path, limit: str) -> None:
    script = measured(tmp_path, f"x: {{ask: X, unit: mm, with: mic, readings: 2, {limit}}}", *TWO_EQUAL)
    script.do("finish")


@pytest.mark.parametrize("formula", ["spread(x[*])", "max(x[*]) - min(x[*])"])
def test_spread_of_equal_readings_in_a_formula_has_the_uncertainty_of_two_readings(
    tmp_path: Path, formula: str
) -> None:
    work_out = f"e: {{is: '{formula}', unit: mm, limit: at most 0.05 mm}}"
    script = measured(tmp_path, "x: {ask: X, unit: mm, with: mic, readings: 2}", *TWO_EQUAL, work_out=work_out)
    # u of the micrometer is 0.002 mm, not taken to cancel: 0.002 × √2. By hand.
    assert float(last_calculated(script)["uncertainty"]["value"]) == pytest.approx(0.002 * 2**0.5)
    script.do("finish")


def test_result_without_uncertain_inputs_is_exact(tmp_path: Path) -> None:
    work_out = "e: {is: x - x + 2 mm, unit: mm, limit: 1 .. 2 mm}"
    script = measured(tmp_path, "x: {ask: X, unit: mm, with: mic}", reading("x", "5 mm"), work_out=work_out)
    assert last_calculated(script)["verdict"] == "ok"


def test_input_without_an_instrument_is_named(tmp_path: Path) -> None:
    work_out = "e: {is: 'max(x, y)', unit: mm, limit: at most 9 mm}"
    script = measured(
        tmp_path, "x: {ask: X, unit: mm, with: mic}, y: {ask: Y, unit: mm}", reading("x", "5 mm"),
        reading("y", "1 mm"), work_out=work_out,
    )  # fmt: skip
    assert last_calculated(script)["verdict"] == "not-proven"
    (reply,) = script.send(intent("finish"))
    assert "the uncertainty of y is not known" in reply["refused"][0]["message"]


@pytest.mark.parametrize(
    ("key", "formula", "u"),
    # By hand, with u = 0.002 mm: 0.002 / √4; the common error of a difference cancels; and neither.
    [("independent: true", "mean(x[*])", 0.001), ("comparison: true", "spread(x[*])", 0.0),
     ("independent: false", "mean(x[*])", 0.002)],
)  # fmt: skip
def test_keys_of_a_recorded_value_count_in_formulas(tmp_path: Path, key: str, formula: str, u: float) -> None:
    entries = [reading("x", f"1.00{n} mm", reading=n) for n in (1, 2, 3, 4)]
    work_out = f"e: {{is: '{formula}', unit: mm}}"
    script = measured(tmp_path, f"x: {{ask: X, unit: mm, with: mic, readings: 4, {key}}}", *entries, work_out=work_out)
    assert float(last_calculated(script)["uncertainty"]["value"]) == pytest.approx(u, abs=1e-12)


TEMPERATURES = "t: {ask: T, unit: °C}, b: {ask: B, unit: °C}"


@pytest.mark.parametrize(
    ("rows", "take"),
    [("[{up to: 9 °F, take: one}, {up to: 18 °F, take: two}]", "two"),
     ("[{up to: 5 °C, take: one}, {up to: 10 °C, take: two}]", "two"),
     ("[{up to: 5 K, take: one}, {up to: 10 K, take: two}]", "two")],
)  # fmt: skip
def test_table_of_temperature_differences_has_no_offset(tmp_path: Path, rows: str, take: str) -> None:
    operation = (
        f"{{id: a, title: A, record: {{{TEMPERATURES}}}, work-out: {{d: {{is: b - t, unit: K}}}}, "
        f"choose: {{g: {{by: d, from: {rows}}}}}}}"
    )
    script = Script(tmp_path, procedure_with(operation))
    script.do_all(open_intent(), intent("start", operation="a"), reading("t", "20 °C"), reading("b", "30 °C"))
    script.do("choose", name="g", take="one")
    assert script.refused("finish") == ["out-of-limit"]
    script.do_all(intent("choose", name="g", take=take), intent("finish"))


def test_temperature_is_refused_for_a_difference_in_kelvin(tmp_path: Path) -> None:
    record = "rise: {ask: Rise, unit: K}, alone: {ask: Alone, unit: K, limit: 290 .. 300 K}"
    script = measured(tmp_path, record, work_out="growth: {is: rise * 12 ppm/K * 100 mm, unit: mm}", head="")
    assert script.refused("record", name="rise", value="20 °C") == ["wrong-dimension"]
    script.do_all(reading("rise", "20 K"), reading("alone", "20 °C"), intent("finish"))


def test_matched_value_keeps_its_own_limit(tmp_path: Path) -> None:
    head = "places: {v: [1, 2]}\n"
    measure = "record: {gap: {ask: G, unit: mm, readings: v}, hand: {ask: H, unit: mm, readings: 3}}"
    fit = (
        "work-out: {lash: {is: gap - shim, unit: mm, limit: at most 0.22 mm}}, "
        "match: {shim: {measured: hand, to: v, so that: lash, limit: 0.20 .. 0.30 mm}}"
    )
    operations = (f"{{id: m, title: M, {measure}}}", f"{{id: f, title: F, after: [m], {fit}}}")
    script = Script(tmp_path, procedure_with(*operations, head=head))
    script.do_all(open_intent(), intent("start", operation="m"))
    for place, value in (("1", "2.50 mm"), ("2", "2.40 mm")):
        script.do("record", name="gap", reading=place, value=value)
    for number, value in enumerate(("2.20 mm", "2.25 mm", "2.18 mm"), 1):
        script.do("record", name="hand", reading=number, value=value)
    script.do_all(intent("finish"), intent("start", operation="f"))
    script.do_all(intent("choose", name="shim[1]", take="1"), intent("choose", name="shim[2]", take="3"))
    (reply,) = script.send(intent("finish"))
    assert [(reason["code"], reason["name"]) for reason in reply["refused"]] == [("out-of-limit", "shim[1]")]
    assert "limit at most 0.22 mm" in reply["refused"][0]["message"]


def test_refusal_names_the_figure_that_was_judged(tmp_path: Path) -> None:
    record = "x: {ask: Bore, unit: mm, readings: 2, judge: mean, limit: 1 .. 2 mm}"
    entries = (reading("x", "3 mm", reading=1), reading("x", "2 mm", reading=2))
    (reply,) = measured(tmp_path, record, *entries, head="").send(intent("finish"))
    assert "Bore: mean 2.5 mm HIGH" in reply["refused"][0]["message"]
