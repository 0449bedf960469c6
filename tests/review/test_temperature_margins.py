"""Limits on differences of temperatures have no offset, in the review as at the bench. All numbers are invented."""

from pathlib import Path

from benchflow.review.log.loaded_log import load_log
from benchflow.review.log.reading_values import values_of
from tests.driving.script import Script, intent, open_intent, procedure_with, read_procedure

TEMPERATURES = (
    "{id: heat, title: Heat, record: {"
    "cold: {ask: Cold, unit: °C}, hot: {ask: Hot, unit: °C, limit: above cold by 18 .. 36 °F}, "
    "even: {ask: Even, unit: °C, readings: 2, limit: equal within 9 °F}, "
    "drift: {ask: Drift, unit: °C, readings: 2, judge: spread, limit: at most 9 °F}}, "
    "work-out: {rise: {is: hot - cold, unit: °C, limit: 18 .. 36 °F}}}"
)


def test_margins_of_temperature_differences_have_no_offset(tmp_path: Path) -> None:
    script = Script(tmp_path, procedure_with(TEMPERATURES))
    script.do_all(open_intent(), intent("start", operation="heat"))
    for name, reading, value in (
        ("cold", 1, "20 °C"), ("hot", 1, "35 °C"), ("even", 1, "20 °C"), ("even", 2, "21 °C"), ("drift", 1, "20 °C"),
        ("drift", 2, "24 °C"),
    ):  # fmt: skip
        script.do("record", name=name, reading=reading, value=value)
    script.do("finish")
    log = load_log(script.path, read_procedure)
    found = {value.name: value for value in values_of(log, log.state.plan.steps["heat"])}
    assert {name: value.verdict for name, value in found.items() if name != "cold"} == dict.fromkeys(
        ("hot", "even", "drift", "rise"), "ok"
    )
    # 35 - 20 = 15 K is in the middle of 10 .. 20 K. Of 5 K, 4 K leave a fifth and 1 K leaves four fifths.
    shares = {name: round(value.share or 0, 6) for name, value in found.items() if name != "cold"}
    assert shares == {"hot": 0.5, "even": 0.8, "drift": 0.2, "rise": 0.5}
    facts = {fact.name: fact.share for fact in log.facts.readings if fact.verdict == "none"}
    assert set(facts.values()) == {None}  # a reading that is judged with others has no margin of its own
    assert log.facts.readings[-1].name == "rise"
    assert round(log.facts.readings[-1].share or 0, 6) == 0.5
