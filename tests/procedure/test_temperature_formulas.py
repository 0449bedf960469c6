"""A calculated difference of temperatures is a difference in the next formula, too."""

from pathlib import Path

from tests.driving.script import Script, intent, open_intent, procedure_with


def test_growth_by_a_calculated_rise_has_no_offset(tmp_path: Path) -> None:
    operation = (
        "{id: heat, title: Heat, record: {cold: {ask: Cold, unit: °C}, hot: {ask: Hot, unit: °F}}, "
        "work-out: {rise: {is: hot - cold, unit: °F, limit: above 90 °F}, "
        "growth: {is: rise * 10 ppm/K * 1000 mm, unit: mm, limit: 0.5 .. 0.6 mm}}}"
    )
    script = Script(tmp_path, procedure_with(operation))
    script.do_all(open_intent(), intent("start", operation="heat"))
    # 212 °F is 100 °C, 80 K above 20 °C: 144 °F. 80 K × 10e-6 /K × 1000 mm = 0.8 mm. By hand.
    script.do_all(intent("record", name="cold", value="20 °C"), intent("record", name="hot", value="212 °F"))
    calculated = {line["data"]["name"]: line["data"] for line in script.log() if line["kind"] == "calculated"}
    assert float(calculated["rise"]["quantity"]["value"]) == 144
    assert calculated["rise"]["verdict"] == "ok"
    assert float(calculated["growth"]["quantity"]["value"]) == 0.8
    assert calculated["growth"]["verdict"] == "high"
