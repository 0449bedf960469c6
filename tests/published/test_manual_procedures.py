"""Assembly procedures from published technical manuals, written with the guide alone, proven and driven.

Sources (facts only): TM 10-3930-660-34, pages 8-27, 8-28, 9-16, 9-27 (pinion preload, runout and backlash); TM
5-2815-241-34P, pages 2-64, 2-224, 2-230 (connecting rods); TM 55-1905-223-24-5, page 3-41, and TM 10-4320-307-24, page
2-223 (crossheads and valve lash).
"""

from collections.abc import Iterable
from pathlib import Path

import pytest

from benchflow.ordering.proof import prove
from benchflow.procedure.checks.unused_names import check_structure
from benchflow.procedure.reader import read
from benchflow.review.audit.audit_log import audit_log
from benchflow.session.log.line_format import read as read_log
from tests.driving.script import Script, intent, open_intent, read_procedure

FOLDER = Path(__file__).parent / "procedures"
PROCEDURES = sorted(FOLDER.glob("*.yaml"))


def _text(name: str) -> str:
    return (FOLDER / f"{name}.yaml").read_text("utf-8")


def _job(folder: Path, name: str, **options: str) -> Script:
    script = Script(folder, _text(name))
    script.do_all(open_intent(options=options))
    return script


def _tighten(script: Script, joint: str, stages: Iterable[str | None], fasteners: int) -> None:
    """Tick every fastener in every stage; ``None`` for a stage without a reading."""
    for number, value in enumerate(stages, 1):
        for fastener in range(1, fasteners + 1):
            reading = {} if value is None else {"value": value}
            script.do("tick", joint=joint, stage=number, fastener=fastener, **reading)


def _is_sound(script: Script) -> bool:
    return not audit_log(read_log(script.path.read_bytes()).lines, read_procedure).wrong


@pytest.mark.parametrize("path", PROCEDURES, ids=lambda path: path.stem)
def test_procedure_from_a_manual_is_proven_without_a_warning(path: Path) -> None:
    reading = read(path.read_text("utf-8"), path.name)
    assert reading.procedure is not None
    proof = prove(reading.procedure)
    assert proof.complete
    severities = [problem.severity for problem in check_structure(reading.procedure, reading.problems, "")]
    severities += [finding.severity for finding in proof.findings]
    assert set(severities) <= {"note"}


# --- misprints of the manuals -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "was", "printed", "text"),
    [
        # TM 10-4320-307-24, p. 2-223 has the millimetres too small by ten
        ("rocker-levers", "0.011 in (0.28 mm)", "0.011 in (0.028 mm)", "0.011 in is 0.279 mm, but 0.028 mm"),
        ("rocker-levers", "0.023 in (0.58 mm)", "0.023 in (0.058 mm)", "but 0.058 mm"),
        # not printed so, but easily copied so
        ("connecting-rod-nuts", "70–75 lb-ft (95–102 N·m)", "70–75 lb-ft (95–120 N·m)", "but 120 N·m"),
    ],
)
def test_misprint_of_the_manual_is_found(name: str, was: str, printed: str, text: str) -> None:
    assert was in _text(name)
    problems = read(_text(name).replace(was, printed)).problems
    assert {problem.code for problem in problems} == {"disagreeing-units"}
    assert all(text in problem.message for problem in problems)


# --- pinion and ring gear ------------------------------------------------------------------------------


def _pinion(script: Script, preload: str) -> list[str]:
    """Work up to the preload and enter it. Returns the verdicts of the reading."""
    for operation in ("assemble-cage", "torque-nut"):
        script.do("start", operation=operation)
        if operation == "assemble-cage":
            script.do("tick-check", check=1)
        else:
            _tighten(script, "pinion-nut", ["350 lb-ft"], 1)
        script.do("finish")
    script.do("start", operation="preload")
    return [
        one["data"]["verdict"]
        for one in script.do("record", name="rolling-torque", value=preload)
        if one["kind"] == "recorded"
    ]


@pytest.mark.parametrize(
    ("bearings", "preload", "verdict"),
    [
        ("new", "5 lb-in", "ok"), ("new", "45.1 lb-in", "high"), ("new", "40 lb-in", "ok"),
        ("reused", "40 lb-in", "high"), ("reused", "5 lb-in", "low"), ("reused", "2.8 N·m", "ok"),
    ],
)  # fmt: skip
def test_preload_is_judged_by_the_bearings(tmp_path: Path, bearings: str, preload: str, verdict: str) -> None:
    script = _job(tmp_path, "pinion-and-ring-gear", bearings=bearings, gears="old set")
    assert _pinion(script, preload) == [verdict]


def test_preload_out_of_limit_needs_another_spacer(tmp_path: Path) -> None:
    script = _job(tmp_path, "pinion-and-ring-gear", bearings="reused", gears="new set")
    assert script.refused("start", operation="fit-differential") == ["after-missing", "interference"]
    assert _pinion(script, "40 lb-in") == ["high"]
    assert script.refused("record", name="rolling-torque", value="20 lb-in") == ["remedy-first"]
    assert script.refused("record", name="rolling-torque", value="20 lb-ft in") == ["bad-quantity"]
    assert "out-of-limit" in script.refused("finish")
    script.do("remedy", name="rolling-torque")
    assert _pinion(script, "20 lb-in") == ["ok"]
    script.do("finish")
    for operation, checks in (("fit-differential", 0), ("set-bearings", 2)):
        script.do("start", operation=operation)
        for check in range(1, checks + 1):
            script.do("tick-check", check=check)
        script.do("finish")
    script.do("start", operation="runout")
    script.do("record", name="ring-runout", value="0.2 mm")
    script.do("finish")
    script.do("start", operation="backlash")
    # the new set is set to 0.012 in; the range is that of the old one
    script.do("record", name="ring-backlash", value="0.010 in")
    assert "out-of-limit" in script.refused("finish")
    script.do("remedy", name="ring-backlash")
    script.do("record", name="ring-backlash", value="0.012 in")
    script.do("finish")
    script.do("close")
    assert _is_sound(script)


def test_pinion_nut_below_the_printed_range_does_not_count(tmp_path: Path) -> None:
    script = _job(tmp_path, "pinion-and-ring-gear", bearings="new", gears="old set")
    script.do_all(intent("start", operation="assemble-cage"), intent("tick-check", check=1), intent("finish"))
    script.do("start", operation="torque-nut")
    script.do("tick", joint="pinion-nut", fastener=1, value="290 lb-ft")
    assert "out-of-limit" in script.refused("finish")
    script.do("tick", joint="pinion-nut", fastener=1, value="300 lb-ft")
    script.do("finish")


# --- connecting rods -----------------------------------------------------------------------------------

_STAGES = ["72 lb-ft", "145 lb-ft", None, "28 lb-ft", "72 lb-ft", "196 N·m"]


def _rod_on_the_bench(script: Script, rod: int, bore: str = "3.2730 in") -> None:
    script.do("start", operation=f"bolts[{rod}]")
    for _ in range(2):
        script.do("record", name="bolt-diameter", value="0.545 in")
    script.do_all(intent("tick-check", check="heads"), intent("tick-check", check=2), intent("finish"))
    script.do("start", operation=f"trial[{rod}]")
    _tighten(script, "rod-nuts", _STAGES, 2)
    script.do("finish")
    script.do("start", operation=f"bore[{rod}]")
    for _ in range(2):
        script.do("record", name="crankpin-bore", value=bore)


def test_rods_are_finished_one_by_one_and_their_caps_come_off_again(tmp_path: Path) -> None:
    script = _job(tmp_path, "connecting-rod-nuts")
    _rod_on_the_bench(script, 1)
    script.do("finish")
    assert "after-missing" in script.refused("start", operation="bolts[2]")
    assert "after-missing" in script.refused("start", operation="oil-rod[1]")
    script.do_all(intent("start", operation="apart[1]"), intent("finish"))
    _rod_on_the_bench(script, 2)
    script.do_all(intent("finish"), intent("start", operation="apart[2]"), intent("finish"))
    for rod in (1, 2):
        script.do_all(intent("start", operation=f"oil-rod[{rod}]"), intent("tick-check", check=1))
        script.do_all(intent("tick-check", check=2), intent("finish"), intent("start", operation=f"fit-cap[{rod}]"))
        _tighten(script, "rod-nuts", [None, *_STAGES], 2)
        script.do("finish")
    script.do("close")
    assert _is_sound(script)


def test_rod_with_a_wide_bore_stops_the_work(tmp_path: Path) -> None:
    script = _job(tmp_path, "connecting-rod-nuts")
    _rod_on_the_bench(script, 1, "83.20 mm")
    assert "out-of-limit" in script.refused("finish")
    assert script.refused("record", name="crankpin-bore", reading="A-A", value="83.12 mm") == ["out-of-limit"]
    assert script.refused("remedy", name="crankpin-bore[A-A]") == ["not-allowed"]


def test_rod_nut_above_its_stage_is_let_off_first(tmp_path: Path) -> None:
    script = _job(tmp_path, "connecting-rod-nuts")
    script.do("start", operation="bolts[1]")
    script.do("record", name="bolt-diameter", value="13.71 mm")
    assert "out-of-limit" in script.refused("finish")
    assert script.refused("record", name="bolt-diameter", reading="left", value="0.545 in") == ["remedy-first"]
    script.do_all(intent("remedy", name="bolt-diameter[left]"))
    script.do("record", name="bolt-diameter", reading="left", value="0.545 in")
    script.do("record", name="bolt-diameter", reading="right", value="0.545 in")
    script.do_all(intent("tick-check", check=1), intent("tick-check", check=2), intent("finish"))
    script.do("start", operation="trial[1]")
    script.do("tick", joint="rod-nuts", fastener=1, value="80 lb-ft")
    assert script.refused("tick", joint="rod-nuts", fastener=1, value="72 lb-ft") == ["remedy-first"]
    script.do("tick", joint="rod-nuts", fastener=1, value="72 lb-ft", loosened=True)
    assert script.refused("tick", joint="rod-nuts", fastener=2, value="72 in") == ["wrong-dimension"]


# --- rocker levers -------------------------------------------------------------------------------------


def _crossheads(script: Script, cylinder: int, torque: str) -> None:
    script.do_all(intent("start", operation=f"turn[{cylinder}]"), intent("tick-check", check=1), intent("finish"))
    script.do("start", operation=f"crossheads[{cylinder}]")
    _tighten(script, "crosshead-locknuts", [torque], 2)
    script.do("finish")


@pytest.mark.parametrize(("wrench", "right", "wrong"), [("with adapter", 25, 30), ("without adapter", 30, 25)])
def test_crosshead_torque_depends_on_the_adapter(tmp_path: Path, wrench: str, right: int, wrong: int) -> None:
    script = _job(tmp_path, "rocker-levers", wrench=wrench)
    script.do_all(intent("start", operation="turn[5]"), intent("tick-check", check=1), intent("finish"))
    assert script.refused("start", operation="lash[5]") == ["after-missing"]
    script.do("start", operation="crossheads[5]")
    script.do("tick", joint="crosshead-locknuts", fastener=1, value=f"{wrong} lb-ft")
    assert "out-of-limit" in script.refused("finish")
    script.do("tick", joint="crosshead-locknuts", fastener=1, value=f"{right} lb-ft", loosened=True)
    script.do("tick", joint="crosshead-locknuts", fastener=2, value=f"{right} lb-ft")
    script.do("finish")


def test_lash_is_judged_valve_by_valve(tmp_path: Path) -> None:
    script = _job(tmp_path, "rocker-levers", wrench="with adapter")
    assert "after-missing" in script.refused("start", operation="covers-on")
    for cylinder in (5, 3, 6):
        _crossheads(script, cylinder, "35 N·m")
        script.do("start", operation=f"lash[{cylinder}]")
        _tighten(script, "lever-locknuts", ["45 lb-ft"], 2)
        script.do("record", name="valve-lash", reading="intake", value="0.011 in")
        script.do("record", name="valve-lash", reading="exhaust", value="0.011 in")  # right for the other valve
        assert "out-of-limit" in script.refused("finish")
        script.do("remedy", name=f"valve-lash[{cylinder}, exhaust]")
        script.do("record", name="valve-lash", reading="exhaust", value="0.58 mm")
        script.do("finish")
    script.do_all(intent("start", operation="covers-on"), intent("finish"), intent("close"))
    assert _is_sound(script)


def test_next_cylinder_waits_for_the_one_at_its_mark(tmp_path: Path) -> None:
    script = _job(tmp_path, "rocker-levers", wrench="with adapter")
    _crossheads(script, 5, "25 lb-ft")
    assert "after-missing" in script.refused("start", operation="turn[3]")
    script.do("set-state", variable="closed", value="c3", reason="the drive was turned by hand")
    assert script.refused("start", operation="lash[5]") == ["state-not-met"]
