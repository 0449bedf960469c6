"""Stages as quantities and limits, the total angle, turns, warnings about a joint. All data is invented."""

from pathlib import Path

import pytest

from benchflow.commands.check import check_file
from benchflow.procedure.model import AngleStage, CheckStage, LoosenStage, Stage, TorqueStage
from benchflow.procedure.reader import read_bytes
from benchflow.quantity import show
from tests.driving.script import procedure_with


def tighten(stages: str, more: str = "", joint: str = "title: Studs") -> str:
    head = f"joints: {{studs: {{layout: '1 2', {joint}}}}}\n"
    return procedure_with(f"{{id: pull, title: Pull, tighten: {{joint: studs, stages: {stages}{more}}}}}", head=head)


def problems(stages: str, more: str = "") -> list[str]:
    return [problem.code for problem in read_bytes(tighten(stages, more).encode(), "p.yaml").problems]


def stage(text: str) -> Stage:
    procedure = read_bytes(tighten(f"[10 N·m, {text}]").encode(), "p.yaml").procedure
    assert procedure is not None
    found = procedure.operations[0].tighten
    assert found is not None
    return found.stages[1]


@pytest.mark.parametrize(
    ("text", "kind", "nominal", "band"),
    [
        ("40 N·m", TorqueStage, "40 N·m", ""),
        ("12 .. 15 lb-ft", TorqueStage, "13.5 ft-lb", "12 .. 15 lb-ft"),
        ("40 ± 4 N·m", TorqueStage, "40 N·m", "40 ± 4 N·m"),
        ("40 +4 -2 N·m", TorqueStage, "40 N·m", "40 +4 -2 N·m"),
        ("at least 40 N·m", TorqueStage, "40 N·m", "at least 40 N·m"),
        ("+90°", AngleStage, "90°", ""),
        ("+60 .. 65°", AngleStage, "62.5°", "+60 .. 65°"),
        ("loosen 1 turn", LoosenStage, "1 turn", ""),
        ("loosen 60 .. 90°", LoosenStage, "75°", "60 .. 90°"),
        ("{torque: 40 ± 4 N·m}", TorqueStage, "40 N·m", "40 ± 4 N·m"),
        ("{angle: 60 .. 65°}", AngleStage, "62.5°", "60 .. 65°"),
        ("{loosen: 60 .. 90°}", LoosenStage, "75°", "60 .. 90°"),
    ],
)
def test_stage_is_a_quantity_or_a_limit(text: str, kind: type, nominal: str, band: str) -> None:
    found = stage(text)
    assert isinstance(found, kind)
    assert isinstance(found, TorqueStage | AngleStage | LoosenStage)
    quantity = found.torque if isinstance(found, TorqueStage) else found.angle
    assert quantity is not None
    assert show(quantity) == nominal
    assert (found.band.text if found.band else "") == band


def test_check_of_one_quantity_keeps_it_as_nominal() -> None:
    found = stage("{check: 100 N·m}")
    assert isinstance(found, CheckStage)
    assert found.nominal is not None
    assert show(found.nominal) == "100 N·m"
    limited = stage("{check: 90 .. 100 N·m}")
    assert isinstance(limited, CheckStage)
    assert limited.nominal is None


@pytest.mark.parametrize(
    "text", ["40", "40 mm", "0 N·m", "-5 .. 40 N·m", "40 .. 30 N·m", "loosen 40 N·m", "+60 .. 65 mm", "{torque: 90°}"]
)
def test_stage_that_is_neither_is_an_error(text: str) -> None:
    assert problems(f"[10 N·m, {text}]") != []


@pytest.mark.parametrize("text", ["4", "0 %", "100 %", "-2 N·m", "4 mm/s", "{torque: 3°}", "{angle: 4 N·m}", "4 s"])
def test_impossible_tolerance_is_an_error(text: str) -> None:
    assert problems("[10 N·m]", f", tolerance: {text}") != []


@pytest.mark.parametrize(
    ("stages", "total", "good"),
    [
        ("[10 N·m, 60 .. 65°, 60 .. 65°]", "120 .. 130°", True),
        ("[10 N·m, 60 .. 65°, 60 .. 65°]", "125°", True),
        ("[10 N·m, 60 .. 65°, 60 .. 65°]", "130°", True),
        ("[10 N·m, 60 .. 65°, 60 .. 65°]", "131°", False),
        ("[10 N·m, 60 .. 65°, 60 .. 65°]", "120 .. 131°", False),
        ("[10 N·m, 60 .. 65°, 60°]", "120 .. 125°", True),
        ("[10 N·m, 90°, 1/4 turn]", "180 ± 0°", True),
        ("[10 N·m, 90°, 1/4 turn]", "170 .. 190°", False),
        ("[10 N·m, 30 ± 2°]", "1/12 turn", True),
    ],
)
def test_total_angle_agrees_with_bands(stages: str, total: str, good: bool) -> None:
    assert problems(stages, f", total-angle: {total}") == ([] if good else ["total-angle"])


@pytest.mark.parametrize(
    ("stages", "codes"),
    [
        ("[10 N·m, 720°]", []),
        ("[10 N·m, 721°]", ["many-turns"]),
        ("[10 N·m, loosen 3 turn, 10 N·m]", ["many-turns"]),
        ("[10 N·m, 1 .. 3 turn]", ["many-turns"]),
        ("[12 .. 15 N·m, 14 .. 20 N·m]", []),
        ("[12 .. 15 N·m, 8 .. 11 N·m]", ["falling-torque"]),
        ("[10 N·m, loosen 90°, +90°]", ["stage-order"]),
        ("[10 N·m, loosen 90°, 10 N·m, +90°]", []),
        ("[by hand, +90°]", []),
        ("[10 N·m, loosen, +90°]", ["stage-order"]),
        ("[10 N·m, loosen, by hand, +90°]", []),
        ("[20 N·m, by hand, 10 N·m]", []),
    ],
)
def test_order_of_stages(stages: str, codes: list[str]) -> None:
    assert problems(stages) == codes


# --- warnings about the joint ---------------------------------------------------------------------------


def warnings(folder: Path, joint: str, stages: str = "[30 N·m]") -> list[str]:
    path = folder / "p.yaml"
    path.write_text(tighten(stages, joint=joint), encoding="utf-8")
    report = check_file(path, None)
    assert report["ok"] is True
    return [finding["code"] for finding in report["findings"] if finding["severity"] == "warning"]


@pytest.mark.parametrize(
    ("joint", "codes"),
    [
        ("thread: M10x1.25, class: '10.9', nut-factor: 0.15", []),
        ("thread: M10x1.2, class: '10.9'", ["unknown-thread"]),
        ("thread: 10 mm bolt", ["unknown-thread"]),
        ("thread: M10, class: '8'", ["wrong-class"]),
        ("thread: 3/8-16 UNC, class: '10.9'", ["wrong-class"]),
        # 30 N·m is 25 kN: more than the proof load of M8, 8.8 (21 kN), less than it breaks at (29 kN).
        ("thread: M8, class: '8.8', nut-factor: 0.15", ["above-proof-load"]),
        ("thread: M8, class: '8.8', nut-factor: 0.15, to-yield: true", []),
        # 40 kN break M5, 8.8 (11 kN), also where it is to yield.
        ("thread: M5, class: '8.8', nut-factor: 0.15", ["above-breaking-load", "above-proof-load"]),
        ("thread: M5, class: '8.8', nut-factor: 0.15, to-yield: true", ["above-breaking-load"]),
        # Without a class, 1830 MPa and a nut factor of 0.3: 20 kN on M5 (26 kN), 33 kN on M3 (9 kN).
        ("thread: M5", []),
        ("thread: M3", ["above-breaking-load"]),
        ("thread: M10x1.2", ["unknown-thread"]),
        ("thread: M10, grip: [{neck: 20 mm, diameter: 12 mm}]", ["wrong-grip"]),
        # 30 N·m is 20 kN: 39 % of the proof load of the thread, 123 % of that of a neck of 5 mm (19.6 mm² × 830 MPa).
        (
            "thread: M10x1.25, class: '10.9', nut-factor: 0.15, grip: [{neck: 60 mm, diameter: 5 mm}, {thread: 15 mm}]",
            ["above-proof-load"],
        ),
        ("thread: M10, left-hand: true, grip: [{shank: 80 mm, diameter: 10 mm}, {thread: 15 mm}]", []),
    ],
)
def test_thread_class_and_preload_are_checked(tmp_path: Path, joint: str, codes: list[str]) -> None:
    assert warnings(tmp_path, joint) == codes


M10 = "thread: M10x1.25, class: '10.9', nut-factor: 0.15"


@pytest.mark.parametrize(
    ("stage", "more", "shown"),
    [
        ("50 .. 90 N·m", "", "Stage 1, 50 .. 90 N·m, at 90 N·m: "),
        ("74 ± 4 N·m", "", "Stage 1, 74 ± 4 N·m, at 78 N·m: "),
        ("75 N·m", ", tolerance: 50 %", "Stage 1, 75 N·m, at 112.5 N·m: "),
        ("{check: 100 N·m}", "", "Stage 1, check 100 N·m: "),
        ("{check: at least 100 N·m}", "", "Stage 1, check at least 100 N·m, at 100 N·m: "),
        ("75 N·m", "", ""),
        ("50 .. 75 N·m", "", ""),
        ("{check: at most 75 N·m}", "", ""),
    ],
)
def test_upper_end_above_the_proof_load_is_a_warning(tmp_path: Path, stage: str, more: str, shown: str) -> None:
    path = tmp_path / "p.yaml"
    path.write_text(tighten(f"[{stage}]", more, joint=M10), encoding="utf-8")
    found = [f["message"] for f in check_file(path, None)["findings"] if f["code"] == "above-proof-load"]
    assert [message.startswith(shown) for message in found] == ([True] if shown else [])


@pytest.mark.parametrize("factor", ["0.02", "3", "15", "0.61"])
def test_impossible_nut_factor_is_an_error(factor: str) -> None:
    text = tighten("[30 N·m]", joint=f"thread: M10, nut-factor: {factor}")
    (problem,) = read_bytes(text.encode(), "p.yaml").problems
    assert (problem.code, problem.severity, problem.hint) == ("bad-number", "error", "Write 0.03 to 0.6")


@pytest.mark.parametrize("factor", ["0.03", "0.15", "0.6"])
def test_nut_factor_is_accepted_up_to_its_ends(factor: str) -> None:
    assert not read_bytes(tighten("[30 N·m]", joint=f"thread: M10, nut-factor: {factor}").encode(), "p.yaml").problems


@pytest.mark.parametrize(
    ("tolerance", "codes"),
    [
        ("50 N·m", ["bad-quantity"]),
        ("40 N·m", ["bad-quantity"]),
        ("{torque: 30 ft-lb}", ["bad-quantity"]),
        ("39 N·m", []),
        ("{}", ["missing-key"]),
        ("2 mm", ["wrong-dimension"]),
        ("3°", ["wrong-dimension"]),
        ("{angle: 3°, torque: 4 %}", []),
        ("4 %", []),
    ],
)
@pytest.mark.parametrize("of_joint", [True, False])
def test_tolerance_fits_its_stages(tolerance: str, codes: list[str], *, of_joint: bool) -> None:
    stated = f", tolerance: {tolerance}"
    text = tighten("[40 N·m]", joint=f"title: Studs{stated}") if of_joint else tighten("[40 N·m]", stated)
    assert [problem.code for problem in read_bytes(text.encode(), "p.yaml").problems] == codes


@pytest.mark.parametrize(
    "keys",
    [
        "tighten: {joint: studs, stages: [{torque: 20 N·m, below: [{do: Scrap it, stop: true}, {do: Clean it}]}]}",
        "check: [{see: It is loose, if not: [{do: Scrap it, stop: true}, {do: Clean it}]}]",
        "check: [{see: It is loose, if not: [{do: Scrap it, stop: true, wait: 15 min}]}]",
        "check: [{see: It is loose, if not: [{do: Scrap it, stop: true, uses: stud}]}]",
    ],
)
def test_remedy_that_is_never_carried_out_is_a_warning(keys: str) -> None:
    head = "joints: {studs: {title: Studs, layout: '1 2'}}\nkit: {parts: {stud: Stud}}\n"
    text = procedure_with(f"{{id: pull, title: Pull, {keys}}}", head=head)
    found = [each for each in read_bytes(text.encode(), "p.yaml").problems if each.code != "unused"]
    assert [(each.code, each.severity) for each in found] == [("never-carried-out", "warning")]
