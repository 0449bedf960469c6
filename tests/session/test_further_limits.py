"""Further limits on the readings of a value (`also`): verdicts, remedies, deviations, sheet. All data is invented."""

from pathlib import Path
from types import SimpleNamespace

import pytest

from benchflow.procedure.expand import expand
from benchflow.review.evidence.recorded_evidence import evidence_of
from benchflow.review.log.loaded_log import load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.order_sheet_blanks import recorded_blank
from benchflow.session.history.reading_summary import ReadingSummary
from benchflow.session.json_lines import open_controller
from benchflow.session.state.events import typed_event
from benchflow.session.view.bench_view import ReadingInput
from benchflow.tui.draw.input_blocks import other_inputs
from benchflow.tui.draw.styled_lines import plain
from tests.driving.audited import findings_of_audit
from tests.driving.script import Json, Script, intent, load_text, open_intent, procedure_with, read_procedure

TAPER = "also: [{judge: spread, limit: at most 0.005 mm, title: Taper, above: [{do: Hone the narrow end}]}]"


def started(folder: Path, keys: str, *, head: str = "", more: str = "", rest: tuple[str, ...] = ()) -> Script:
    one = f"{{id: one, title: One, record: {{bore: {{ask: Bore, unit: mm, {keys}}}}}{more}}}"
    script = Script(folder, procedure_with(one, *rest, head=head))
    script.do_all(open_intent(), intent("start", operation="one"))
    return script


def bores(*values: str) -> list[Json]:
    return [intent("record", name="bore", reading=n, value=value) for n, value in enumerate(values, 1)]


LIMIT = "readings: 2, limit: 20.00 .. 20.02 mm"
REMEDY = intent("remedy", name="bore")


def test_every_limit_is_judged(tmp_path: Path) -> None:
    script = started(tmp_path, f"{LIMIT}, also: [{{judge: spread, limit: at most 0.005 mm, title: Taper}}]")
    script.do_all(*bores("20.001 mm", "20.008 mm"))
    (reply,) = script.send(intent("finish"))
    assert [reason["code"] for reason in reply["refused"]] == ["out-of-limit"]
    assert reply["refused"][0]["message"].startswith("Bore, Taper: spread 0.007 mm HIGH, limit at most 0.005 mm")
    script.do_all(*bores("20.004 mm"), intent("finish"))
    assert findings_of_audit(script) == []


def test_end_of_the_further_limit_is_included_in_any_unit(tmp_path: Path) -> None:
    script = started(tmp_path, "readings: 2, also: [{judge: spread, limit: at most 0.0002 in}]")
    script.do_all(*bores("1.0000 in", "25.40508 mm"), intent("finish"))  # the spread is exactly 0.0002 in


def test_further_limit_waits_for_its_last_reading(tmp_path: Path) -> None:
    script = started(tmp_path, f"{LIMIT}, {TAPER}")
    script.do_all(*bores("20.001 mm"))
    assert script.refused("finish") == ["value-missing"]


def test_remedy_of_a_further_limit_voids_its_readings(tmp_path: Path) -> None:
    script = started(tmp_path, f"{LIMIT}, {TAPER}")
    script.do_all(*bores("20.001 mm", "20.008 mm"))
    assert script.refused("record", name="bore", reading=1, value="20.005 mm") == ["remedy-first"]
    assert script.refused("finish") == ["out-of-limit", "remedy-first"]
    script.do_all(REMEDY)
    event = [line["data"] for line in script.log() if line["kind"] == "remedied"][-1]
    assert (event["limit"], event["void"], event["do"]) == (1, {"bore": ["1", "2"]}, "Hone the narrow end")
    assert script.refused("finish") == ["value-missing"]
    script.do_all(*bores("20.005 mm", "20.008 mm"), intent("finish"))
    assert findings_of_audit(script) == []


def test_remedy_means_the_first_limit_that_is_out(tmp_path: Path) -> None:
    script = started(
        tmp_path,
        "readings: 2, judge: mean, limit: at most 20.02 mm, above: [{do: Fit a sleeve, tries: 2}], also: ["
        "{judge: spread, limit: at most 0.005 mm, above: [{do: Hone it}]}, "
        "{judge: largest, limit: at most 20.10 mm, above: [{do: Scrap it, stop: true}]}]",
    )
    script.do_all(*bores("20.03 mm", "20.04 mm"), REMEDY)
    script.do_all(*bores("20.00 mm", "20.01 mm"), REMEDY)
    done = [(line["data"]["do"], line["data"].get("limit", 0)) for line in script.log() if line["kind"] == "remedied"]
    assert done == [("Fit a sleeve", 0), ("Hone it", 1)]
    script.do_all(*bores("20.11 mm", "20.11 mm"))
    (reply,) = script.send(REMEDY)
    assert reply["refused"][0]["code"] == "not-allowed"
    assert "Scrap it" in reply["refused"][0]["message"]
    assert findings_of_audit(script) == []


def test_limit_without_a_remedy_does_not_hide_that_of_the_next(tmp_path: Path) -> None:
    script = started(tmp_path, f"readings: 2, judge: mean, limit: at most 20.00 mm, {TAPER}")
    script.do_all(*bores("20.00 mm", "20.02 mm"), REMEDY)
    assert [line["data"]["limit"] for line in script.log() if line["kind"] == "remedied"] == [1]


def test_tries_are_counted_for_each_limit(tmp_path: Path) -> None:
    script = started(
        tmp_path,
        "readings: 2, judge: mean, limit: at most 20.02 mm, above: [{do: Fit a sleeve}], also: ["
        "{judge: spread, limit: at most 0.005 mm, above: [{do: Hone it}]}]",
    )
    script.do_all(*bores("20.03 mm", "20.03 mm"), REMEDY, *bores("20.00 mm", "20.01 mm"), REMEDY)
    script.do_all(*bores("20.00 mm", "20.01 mm"))
    assert script.refused("remedy", name="bore") == ["not-allowed"]  # the remedies of the taper are used up
    assert script.refused("finish") == ["out-of-limit"]


def test_readings_judged_one_by_one_by_a_further_limit(tmp_path: Path) -> None:
    script = started(
        tmp_path,
        "readings: [left, right], judge: mean, limit: 20.00 .. 20.02 mm, also: ["
        "{limit: at least 19.99 mm, title: Each end, below: [{do: Ream it}]}]",
    )
    script.do_all(
        intent("record", name="bore", reading="left", value="19.98 mm"),
        intent("record", name="bore", reading="right", value="20.03 mm"),
    )
    assert script.refused("record", name="bore", reading="left", value="20 mm") == ["remedy-first"]
    script.do_all(intent("record", name="bore", reading="right", value="20.03 mm"), REMEDY)
    assert [line["data"]["void"] for line in script.log() if line["kind"] == "remedied"] == [{"bore": ["left"]}]


def test_deviation_covers_what_is_out(tmp_path: Path) -> None:
    script = started(tmp_path, f"{LIMIT}, {TAPER}")
    script.do_all(*bores("20.001 mm", "20.008 mm"))
    script.do("deviate", operation="one", about="bore", reason="Approved by the maker", by="Kim")
    script.do("finish")
    assert len([line for line in script.log() if line["kind"] == "deviated"]) == 1
    assert findings_of_audit(script) == []


def test_deviation_lapses_with_another_reading(tmp_path: Path) -> None:
    script = started(tmp_path, f"{LIMIT}, {TAPER}")
    script.do_all(*bores("20.001 mm", "20.008 mm"))
    script.do("deviate", operation="one", about="bore", reason="Approved by the maker", by="Kim")
    script.do_all(*bores("20.002 mm"))
    assert script.refused("finish") == ["out-of-limit", "remedy-first"]


def test_correction_as_misread_frees_the_readings(tmp_path: Path) -> None:
    script = started(tmp_path, f"{LIMIT}, {TAPER}")
    script.do_all(*bores("20.001 mm", "20.008 mm"))
    entry = [line for line in script.log() if line["kind"] == "recorded"][-1]
    script.do("correct", event=entry["seq"], value="20.003 mm", reason="misread")
    script.do("finish")
    assert findings_of_audit(script) == []


@pytest.mark.parametrize(("second", "codes"), [("20.0010 mm", []), ("20.0045 mm", ["not-proven"])])
def test_further_limit_is_guarded_too(tmp_path: Path, second: str, codes: list[str]) -> None:
    head = "decision: guarded\ninstruments: {mic: {kind: length, uncertainty: at most 0.002 mm}}\n"
    script = started(tmp_path, f"with: mic, readings: 2, {TAPER}", head=head)
    script.do_all(*bores("20.0000 mm", second))
    # u of the spread is √2 · 0.001 mm, its guard band 0.0023 mm: at most 0.0026 mm is ok. By hand.
    if codes:
        assert script.refused("finish") == codes
    else:
        script.do("finish")


def test_proof_fails_with_a_further_limit(tmp_path: Path) -> None:
    head = "state: {casing: {values: [rough, smooth], start: rough}}\n"
    script = started(
        tmp_path, f"{LIMIT}, proves: casing, also: [{{judge: spread, limit: at most 0.005 mm}}]", head=head,
        more=", sets: {casing: smooth}", rest=("{id: two, title: Two, needs: {casing: smooth}}",),
    )  # fmt: skip
    script.do_all(*bores("20.001 mm", "20.008 mm"))
    script.do("deviate", operation="one", about="bore", reason="Approved by the maker", by="Kim")
    script.do("finish")
    assert script.refused("start", operation="two") == ["state-not-met"]
    assert findings_of_audit(script) == []


def test_relative_further_limit(tmp_path: Path) -> None:
    script = Script(
        tmp_path,
        procedure_with(
            "{id: one, title: One, each: cap, record: {base: {ask: Base, unit: mm}, bore: {ask: Bore, unit: mm, "
            "limit: at most 9 mm, also: [{limit: above base by at most 1 mm, title: 'Step of {cap}'}]}}}",
            head="places: {cap: [a, b]}\n",
        ),
    )
    script.do_all(open_intent(), intent("start", operation="one[b]"))
    script.do_all(intent("record", name="base", value="5 mm"), intent("record", name="bore", value="6.5 mm"))
    (reply,) = script.send(intent("finish"))
    assert reply["refused"][0]["message"].startswith("Bore, Step of b: 6.5 mm HIGH")
    script.do_all(intent("record", name="bore", value="6 mm"), intent("finish"))


def test_when_means_the_main_limit(tmp_path: Path) -> None:
    script = started(
        tmp_path, f"{LIMIT}, {TAPER}",
        rest=("{id: two, title: Two, after: [one], when: {bore: above}, do: Sleeve it}",
              "{id: three, title: Three, after: [one], when: {bore: ok}, do: Fit it}"),
    )  # fmt: skip
    script.do_all(*bores("20.001 mm", "20.008 mm"))
    assert script.refused("finish") == ["out-of-limit", "remedy-first"]
    script.do_all(REMEDY, *bores("20.03 mm", "20.03 mm"), intent("finish"))
    script.do_all(intent("start", operation="two"))
    assert findings_of_audit(script) == []


def test_further_limit_varies_by_option(tmp_path: Path) -> None:
    script = Script(
        tmp_path,
        procedure_with(
            "{id: one, title: One, record: {bore: {ask: Bore, unit: mm, readings: 2, also: ["
            "{judge: spread, limit: {by: use, road: at most 0.02 mm, race: at most 0.01 mm}}]}}}",
            head="options: {use: {ask: Use, choices: [road, race]}}\n",
        ),
    )
    script.do_all(open_intent(options={"use": "race"}), intent("start", operation="one"))
    script.do_all(*bores("20.00 mm", "20.02 mm"))
    assert script.refused("finish") == ["out-of-limit"]


def test_bench_shows_each_limit(tmp_path: Path) -> None:
    script = started(tmp_path, f"{LIMIT}, {TAPER}")
    script.do_all(*bores("20.001 mm", "20.008 mm"))
    controller = open_controller(load_text(script.text), "p.yaml", script.path, read_procedure, simulated=False)
    now = controller.view().now
    controller.close()
    assert now is not None
    (given,) = (each for each in now.inputs if isinstance(each, ReadingInput))
    (row,) = given.further
    assert (row.title, row.shown, row.verdict, row.limit) == ("Taper", "spread 0.007 mm", "high", "at most 0.005 mm")
    assert (row.remedy, given.complete) == ("Hone the narrow end", False)
    assert [reading.remedy for reading in given.readings] == ["Hone the narrow end"] * 2
    lines = [plain(line) for line in other_inputs(now, None, 78)[0]]
    assert any("Taper: spread 0.007 mm  HIGH  at most 0.005 mm" in line for line in lines), lines


def test_history_sheet_and_review_show_each_limit(tmp_path: Path) -> None:
    script = started(tmp_path, f"{LIMIT}, {TAPER}", rest=("{id: two, title: Two, do: Rest}",))
    script.do_all(*bores("20.001 mm", "20.004 mm"), intent("finish"))
    log = load_log(script.path, read_procedure)
    (operation, _) = build_sheet(log).sections[0].operations
    main, taper = operation.values
    assert (main.verdict, len(main.figures)) == ("ok", 2)
    assert (taper.ask, taper.judged, taper.verdict, taper.limit) == (
        "Bore, Taper", "0.003 mm", "ok", "at most 0.005 mm"
    )  # fmt: skip
    words = [each.words for each in evidence_of(log, log.plan.steps["one"])]
    assert "bore Taper 0.003 mm, ok, limit at most 0.005 mm" in words
    summary = ReadingSummary(log.plan)
    texts = []
    for line in log.lines:
        summary.add(line)
        texts.append(summary.text(typed_event(line.kind, line.data)))
    assert "; Taper spread 0.003 mm, ok, limit at most 0.005 mm" in texts


def test_printed_order_shows_each_limit() -> None:
    text = procedure_with(f"{{id: one, title: One, record: {{bore: {{{LIMIT}, {TAPER}}}}}}}")
    procedure = read_procedure(text)
    record = next(iter(expand(procedure, {}).steps.values())).operation.record[0]
    titles = SimpleNamespace(turns=lambda redo: "", called_turns=lambda redo: "", procedure=procedure)
    blank = recorded_blank(titles, record)  # type: ignore[arg-type]  # no remedy names an operation
    assert "Taper: spread of the readings, limit at most 0.005 mm" in blank.limits
    assert blank.remedies == ("Taper above: Hone the narrow end",)
