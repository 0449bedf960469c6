"""Several instruments for one reading (`with: [straightedge, feeler-gauge]`). All data is invented."""

from pathlib import Path
from typing import Any

import pytest

from benchflow.review.log.loaded_log import load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.session.history.event_text import event_text
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.state.events import typed_event
from benchflow.session.state.instrument_uses import instrument_uses
from tests.driving.audited import findings_of_audit
from tests.driving.script import Script, intent, open_intent, procedure_with, read_procedure

HEAD = """\
instruments:
  straightedge: {title: Straightedge, kind: straightness}
  feeler: {title: Feeler gauge, kind: length}
"""
SHOP = """\
shop: 1
instruments:
  edge: {kind: straightness, title: Edge, serial: S-1, uncertainty: 0.003 mm}
  long-edge: {kind: straightness, title: Long edge, serial: S-2, uncertainty: 0.003 mm, calibration-due: 2020-01-01}
  leaves: {kind: length, title: Leaves, serial: F-1, range: 0.02 .. 1.00 mm, uncertainty: 0.004 mm}
  coarse: {kind: length, title: Coarse, serial: F-2, range: 0.50 .. 2.00 mm, uncertainty: 0.004 mm}
"""


def started(folder: Path, keys: str = "", *, shop: str = SHOP, head: str = HEAD, more: str = "") -> Script:
    value = f"{{ask: Warp, unit: mm, with: [straightedge, feeler]{keys}}}"
    one = f"{{id: one, title: One, record: {{warp: {value}}}{more}}}"
    script = Script(folder, procedure_with(one, head=head), shop=shop)
    script.do_all(open_intent(), intent("start", operation="one"))
    return script


def recorded(script: Script) -> dict[str, Any]:
    data: dict[str, Any] = [line["data"] for line in script.log() if line["kind"] == "recorded"][-1]
    return data


def record(script: Script, value: str, *instruments: str, **fields: object) -> dict[str, Any]:
    if instruments:
        fields["instrument"] = list(instruments)
    script.do("record", name="warp", value=value, **fields)
    return recorded(script)


def test_both_instruments_are_in_the_log(tmp_path: Path) -> None:
    script = started(tmp_path)
    found = record(script, "0.05 mm", "S-1", "F-1")
    assert (found["instrument"], found["serial"]) == ("straightedge", "S-1")
    assert [(one["instrument"], one["serial"]) for one in found["tools"]] == [
        ("straightedge", "S-1"),
        ("feeler", "F-1"),
    ]
    used = [line["data"]["serial"] for line in script.log() if line["kind"] == "instrument-used"]
    assert used == ["S-1", "F-1"]
    # u = √(0.0015² + 0.002²) mm = 0.0025 mm, by hand
    assert float(found["uncertainty"]["value"]) == pytest.approx(0.0025)
    assert findings_of_audit(script) == []


def test_the_only_fit_instruments_are_taken(tmp_path: Path) -> None:
    script = started(tmp_path)
    found = record(script, "0.05 mm")
    assert [one["serial"] for one in found["tools"]] == ["S-1", "F-1"]
    assert findings_of_audit(script) == []


@pytest.mark.parametrize(
    ("instruments", "code", "words"),
    [
        (["S-2", "F-1"], "instrument-unfit", "Long edge (S-2)"),  # its calibration is over
        (["S-1", "F-2"], "instrument-unfit", "Coarse (F-2)"),  # the reading is out of its range
        (["F-1", "S-1"], "instrument-unfit", "straightness"),
        (["S-1", "F-9"], "unknown-name", "F-9"),
        (["S-1", "F-1", "S-2"], "not-allowed", "read with 2"),
        (["S-1", "S-1"], "instrument-unfit", "Edge (S-1)"),
    ],
)
def test_both_must_be_fit(tmp_path: Path, instruments: list[str], code: str, words: str) -> None:
    script = started(tmp_path)
    (reply,) = script.send(intent("record", name="warp", value="0.05 mm", instrument=instruments))
    assert [reason["code"] for reason in reply["refused"]] == [code]
    assert words in reply["refused"][0]["message"]


def test_one_serial_for_both_is_refused(tmp_path: Path) -> None:
    script = started(tmp_path, shop="")
    assert script.refused("record", name="warp", value="0.05 mm", instrument=["S-1", "S-1"]) == ["not-allowed"]


def test_id_of_a_need_means_any_instrument_for_it(tmp_path: Path) -> None:
    script = started(tmp_path)
    found = record(script, "0.05 mm", "feeler", "S-1")
    assert [one["serial"] for one in found["tools"]] == ["S-1", "F-1"]
    assert findings_of_audit(script) == []


def test_one_name_is_the_first_instrument(tmp_path: Path) -> None:
    script = started(tmp_path, shop="")
    script.do("record", name="warp", value="0.05 mm", instrument="S-1")
    assert recorded(script)["tools"] == [
        {"instrument": "straightedge", "serial": "S-1"}, {"instrument": "feeler"}
    ]  # fmt: skip
    assert findings_of_audit(script) == []


ONE = "{id: one, title: One, record: {warp: {unit: mm, with: feeler}}}"


def test_list_for_one_instrument(tmp_path: Path) -> None:
    script = Script(
        tmp_path,
        procedure_with(ONE, head=HEAD),
        shop=SHOP,
    )
    script.do_all(open_intent(), intent("start", operation="one"))
    found = record(script, "0.05 mm", "F-1")
    assert (found["serial"], "tools" in found) == ("F-1", False)
    assert script.refused("record", name="warp", value="0.05 mm", instrument=["F-1", "S-1"]) == ["not-allowed"]


def test_reading_without_any_range_is_refused(tmp_path: Path) -> None:
    script = started(tmp_path, shop=SHOP.replace(" range: 0.02 .. 1.00 mm,", ""))
    assert script.refused("record", name="warp", value="0.05 mm", instrument=["S-1", "F-1"]) == ["instrument-unfit"]


@pytest.mark.parametrize(("value", "codes"), [("0.095 mm", []), ("0.098 mm", ["not-proven"])])
def test_uncertainties_are_combined(tmp_path: Path, value: str, codes: list[str]) -> None:
    script = started(tmp_path, ", decision: guarded, limit: at most 0.10 mm")
    record(script, value, "S-1", "F-1")  # 1.65 u = 0.0041 mm, by hand
    if codes:
        assert script.refused("finish") == codes
    else:
        script.do("finish")


def test_unknown_uncertainty_of_one_leaves_the_reading_not_proven(tmp_path: Path) -> None:
    shop = SHOP.replace("serial: S-1, uncertainty: 0.003 mm", "serial: S-1")
    script = started(tmp_path, ", decision: guarded, limit: at most 0.10 mm", shop=shop)
    assert "uncertainty" not in record(script, "0.05 mm", "S-1", "F-1")
    assert script.refused("finish") == ["not-proven"]
    assert findings_of_audit(script) == []


def test_instrument_that_two_values_share_counts_once(tmp_path: Path) -> None:
    head = HEAD.replace("kind: straightness}", "kind: straightness, uncertainty: at most 0.006 mm}").replace(
        "kind: length}", "kind: length, uncertainty: at most 0.008 mm}"
    )
    one = (
        "{id: one, title: One, record: {a: {unit: mm, with: [straightedge, feeler]}, "
        "b: {unit: mm, with: straightedge}}, work-out: {c: {is: a + b, unit: mm}}}"
    )
    script = Script(tmp_path, procedure_with(one, head=head))
    script.do_all(open_intent(), intent("start", operation="one"))
    script.do_all(intent("record", name="a", value="1 mm"), intent("record", name="b", value="1 mm"))
    data = [line["data"] for line in script.log() if line["kind"] == "calculated"][-1]
    # the straightedge has the same error in both: √((2 · 0.003)² + 0.004²) mm, by hand
    assert float(data["uncertainty"]["value"]) == pytest.approx((0.006**2 + 0.004**2) ** 0.5)
    assert findings_of_audit(script) == []


def test_correction_keeps_the_instruments(tmp_path: Path) -> None:
    script = started(tmp_path, ", decision: guarded, limit: at most 0.10 mm")
    record(script, "0.05 mm", "S-1", "F-1")
    entry = [line for line in script.log() if line["kind"] == "recorded"][-1]
    script.do("correct", event=entry["seq"], value="0.06 mm", reason="misread")
    data = [line["data"] for line in script.log() if line["kind"] == "corrected"][-1]
    assert [one["serial"] for one in data["tools"]] == ["S-1", "F-1"]
    assert float(data["uncertainty"]["value"]) == pytest.approx(0.0025)
    script.do("finish")
    assert findings_of_audit(script) == []


def test_history_sheet_and_counts_have_both(tmp_path: Path) -> None:
    script = started(tmp_path, ", limit: at most 0.10 mm")
    record(script, "0.05 mm", "S-1", "F-1")
    script.do("finish")
    log = load_log(script.path, read_procedure)
    (operation,) = build_sheet(log).sections[0].operations
    assert operation.values[0].tools == ("S-1", "F-1")
    assert [row[1] for row in build_sheet(log).instruments] == ["S-1", "F-1"]
    assert instrument_uses(log.lines) == {"S-1": 1, "F-1": 1}
    titles = LogTitles(log.plan, None)
    (event,) = [typed_event(line.kind, line.data) for line in log.lines if line.kind == "recorded"]
    assert event is not None
    assert "with straightedge (serial S-1) and feeler gauge (serial F-1)" in event_text(event, titles)
