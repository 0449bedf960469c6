"""What is written with `{by: ...}` counts by option, by place and by reading: at the bench, in the proof, on paper."""

from pathlib import Path

import msgspec
import pytest

from benchflow.ordering.proof import prove
from benchflow.procedure.checks.unused_names import check_structure
from benchflow.procedure.expand import expand
from benchflow.procedure.model import Procedure
from benchflow.procedure.reader import read
from benchflow.review.audit.audit_log import audit_log
from benchflow.session.json_lines import open_controller
from benchflow.session.log.line_format import read as read_log
from benchflow.session.shop.live_register import Register
from benchflow.session.view.bench_view import Input, ReadingInput
from benchflow.trade.joint_findings import joint_problems
from tests.driving.script import Json, Script, intent, load_text, open_intent, procedure_with, read_procedure

HEAD = (
    "options: {side: {choices: [intake, exhaust]}}\nplaces: {cap: [1, 2, 3]}\n"
    "state: {rotor: {values: [up, down], start: up}}\n"
    "instruments: {feeler: {kind: length}, dial: {kind: length}}\n"
    "joints: {flange: {pattern: star 4}}\n"
)


def _session(folder: Path, *operations: str, side: str = "intake", head: str = HEAD) -> Script:
    script = Script(folder, procedure_with(*operations, head=head))
    (reply,) = script.send(open_intent(options={"side": side}))
    assert reply["ok"], reply
    return script


def _sound(script: Script) -> bool:
    """True if the audit of the log finds nothing wrong."""
    report = audit_log(read_log(script.path.read_bytes()).lines, read_procedure)
    return not report.wrong


def _inputs(script: Script) -> tuple[Input, ...]:
    """The inputs that the bench shows now."""
    register = Register(script.shop)
    source = load_text(script.text)
    controller = open_controller(source, "p.yaml", script.path, read_procedure, simulated=False, register=register)
    try:
        now = controller.view().now
        assert now is not None
        return now.inputs
    finally:
        controller.close()


def _verdicts(events: list[Json]) -> list[tuple[str, str, str]]:
    data = [one["data"] for one in events if one["kind"] in ("recorded", "calculated")]
    return [(one["name"], one["verdict"], one.get("limit", "")) for one in data]


GAP = "{id: set, title: Set, record: {gap: {limit: {by: side, intake: 0.20 mm, exhaust: 0.30 mm}}}}"


@pytest.mark.parametrize(("side", "verdict"), [("intake", "high"), ("exhaust", "ok")])
def test_limit_by_option_judges_the_reading(tmp_path: Path, side: str, verdict: str) -> None:
    script = _session(tmp_path, GAP, side=side)
    script.do("start", operation="set")
    events = script.do("record", name="gap", value="0.30 mm")
    assert _verdicts(events) == [("gap", verdict, "0.20 mm" if side == "intake" else "0.30 mm")]
    if verdict == "high":
        assert script.refused("finish") == ["out-of-limit"]
    else:
        script.do("finish")
    assert _sound(script)


def test_limit_by_place_of_the_operation(tmp_path: Path) -> None:
    script = _session(
        tmp_path,
        "{id: set, title: Set, each: cap, record: {gap: {unit: mm, "
        "limit: {by: cap, 2: 0.4 .. 0.5 mm, else: 0.1 .. 0.2 mm}}}}",
    )
    for place, value, verdict in (
        ("1", "0.15", "ok"),
        ("2", "0.15", "low"),
        ("2", "0.45", "ok"),
        ("3", "0.45", "high"),
    ):
        if script.query("status")["in_progress"] is None:
            script.do("start", operation=f"set[{place}]")
        assert _verdicts(script.do("record", name="gap", value=f"{value} mm"))[0][1] == verdict
        if verdict == "ok":
            script.do("finish")
    assert script.refused("finish") == ["out-of-limit"]


def test_limit_and_instrument_by_reading(tmp_path: Path) -> None:
    script = _session(
        tmp_path,
        "{id: set, title: Set, record: {bore: {unit: mm, readings: cap, "
        "limit: {by: cap, 1: 10 .. 11 mm, else: 20 .. 21 mm}, with: {by: cap, 3: dial, else: feeler}}}}",
    )
    script.do("start", operation="set")
    assert _verdicts(script.do("record", name="bore", value="10.5 mm"))[0][1:] == ("ok", "10 .. 11 mm")
    assert _verdicts(script.do("record", name="bore", value="10.5 mm"))[0][1:] == ("low", "20 .. 21 mm")
    assert script.refused("finish") == ["value-missing", "out-of-limit"]
    assert _verdicts(script.do("record", name="bore", reading="2", value="20.5 mm"))[0][1] == "ok"
    (last,) = [one for one in script.do("record", name="bore", value="20.1 mm") if one["kind"] == "recorded"]
    assert (last["data"]["verdict"], last["data"]["instrument"]) == ("ok", "dial")
    wrong = script.do("correct", event=last["seq"], value="10.1 mm", reason="misread")
    assert wrong[0]["data"]["verdict"] == "low"
    assert script.refused("finish") == ["out-of-limit"]
    script.do("record", name="bore", reading="1", value="20.5 mm")
    script.do("record", name="bore", reading="3", value="20.5 mm")
    (reason,) = script.send(intent("finish"))[0]["refused"]
    assert "10 .. 11 mm" in reason["message"]
    assert _sound(script)


def test_calculated_limit_by_reading(tmp_path: Path) -> None:
    script = _session(
        tmp_path,
        "{id: set, title: Set, record: {bore: {unit: mm, readings: cap}, pin: {unit: mm}}, work-out: {play: "
        "{is: bore - pin, unit: mm, limit: {by: cap, 1: 0.1 .. 0.2 mm, else: 0.3 .. 0.4 mm}}}}",
    )
    script.do("start", operation="set")
    script.do("record", name="pin", value="10 mm")
    seen = [_verdicts(script.do("record", name="bore", value="10.15 mm"))[-1] for _ in range(2)]
    assert seen == [("play", "ok", "0.1 .. 0.2 mm"), ("play", "low", "0.3 .. 0.4 mm")]
    script.do("record", name="bore", value="10.35 mm")
    assert script.refused("finish") == ["out-of-limit"]
    script.do("record", name="bore", reading="2", value="10.35 mm")
    script.do("finish")
    assert _sound(script)


def test_formula_stages_table_and_texts_by_option(tmp_path: Path) -> None:
    operation = (
        "{id: fit, title: Fit, do: {by: side, intake: Bolt it, exhaust: Stud it}, record: {gap: {unit: mm}}, "
        "work-out: {twice: {is: {by: side, intake: gap * 2, exhaust: gap * 3}, unit: mm}}, "
        "choose: {pad: {by: gap, from: {by: side, intake: [{take: thin}], exhaust: [{take: thick}]}}}, "
        "check: [{by: side, intake: Bolts flush, exhaust: Studs flush}], "
        "tighten: {joint: flange, stages: {by: side, intake: [10 N·m], exhaust: [12 N·m, +90°]}}}"
    )
    for side, result, pad, stages in (("intake", "2", "thin", 1), ("exhaust", "3", "thick", 2)):
        folder = tmp_path / side
        folder.mkdir()
        script = _session(folder, operation, side=side)
        script.do("start", operation="fit")
        events = script.do("record", name="gap", value="1 mm")
        assert [one["data"]["quantity"]["value"] for one in events if one["kind"] == "calculated"] == [result]
        other = "thin" if pad == "thick" else "thick"
        assert script.refused("choose", name="pad", take=other)
        script.do("choose", name="pad", take=pad)
        assert script.refused("tick-check", check="Studs flush" if side == "intake" else "Bolts flush")
        script.do("tick-check", check="Bolts flush" if side == "intake" else "Studs flush")
        for stage in range(1, stages + 1):
            for fastener in range(1, 5):
                script.do("tick", joint="flange", stage=stage, fastener=fastener)
        script.do("finish")
        assert _sound(script)


def test_torque_that_is_calculated_at_some_places_only(tmp_path: Path) -> None:
    """The first place has a printed torque. Each of the others has a result of its own."""
    operation = (
        "{id: one, title: One, each: cap, record: {a: {unit: N·m}}, tighten: {joint: flange, "
        "stages: {by: cap, 1: [10 N·m], else: [{torque: a + 5 N·m}]}}}"
    )
    script = _session(tmp_path, operation)
    for place, drag, torque in (("3", "9 N·m", "14 N·m"), ("2", "7 N·m", "12 N·m")):
        script.do("start", operation=f"one[{place}]")
        assert script.refused("tick", joint="flange", fastener=1, value=torque) == ["value-missing"]
        script.do("record", name="a", value=drag)
        for fastener in range(1, 5):
            script.do("tick", joint="flange", fastener=fastener, value=torque)
        script.do("finish")
    script.do("start", operation="one[1]")
    script.do("tick", joint="flange", fastener=1, value="12 N·m")
    assert "out-of-limit" in script.refused("finish")
    assert _sound(script)


def test_needs_by_option_blocks_only_with_that_choice(tmp_path: Path) -> None:
    operation = "{id: fit, title: Fit, needs: {rotor: {by: side, intake: up, exhaust: down}}}"
    head = HEAD + "moves: {turn: {sets: {rotor: down}}}\n"
    for side in ("intake", "exhaust"):
        folder = tmp_path / side
        folder.mkdir()
        script = _session(folder, operation, side=side, head=head)
        if side == "exhaust":
            assert script.refused("start", operation="fit") == ["state-not-met"]
            script.do("move", move="turn")
        script.do("start", operation="fit")


def test_window_by_option(tmp_path: Path) -> None:
    operations = (
        "{id: glue, title: Glue}",
        "{id: fit, title: Fit, time: {glue: {by: side, intake: at least 1 h, exhaust: at most 1 h}}}",
    )
    for side in ("intake", "exhaust"):
        folder = tmp_path / side
        folder.mkdir()
        script = _session(folder, *operations, side=side)
        script.do_all(intent("start", operation="glue"), intent("finish"))
        if side == "intake":
            assert script.refused("start", operation="fit") == ["too-early"]
        else:
            script.do("start", operation="fit")


def _findings(*operations: str, head: str = HEAD) -> set[tuple[str, str]]:
    found = read(procedure_with(*operations, head=head))
    assert found.procedure is not None, [str(problem) for problem in found.problems]
    codes: set[tuple[str, str]] = {(one.code, str(one.options or "")) for one in prove(found.procedure).findings}
    codes |= {(problem.code, "") for problem in check_structure(found.procedure, found.problems, "p")}
    return {one for one in codes if one[0] not in ("no-rule", "no-source", "unused", "missing-unit", "redundant-after")}


def test_proof_covers_every_choice_of_a_need() -> None:
    """Only with `exhaust` the operation needs a state that nothing brings about."""
    found = _findings("{id: fit, title: Fit, needs: {rotor: {by: side, intake: up, exhaust: down}}}")
    assert {code for code, _ in found} == {"dead-end", "unreachable-operation"}
    assert all("exhaust" in options for _, options in found)


def test_proof_covers_every_place_of_a_need() -> None:
    operation = "{id: fit, title: Fit, each: cap, needs: {rotor: {by: cap, 3: down, else: up}}}"
    assert {code for code, _ in _findings(operation)} == {"dead-end", "unreachable-operation"}
    assert _findings(operation.replace("3: down", "3: up")) == set()


def test_proof_covers_every_choice_of_sets_and_during() -> None:
    rule = HEAD + "interference: [{never: {rotor: down}, because: it jams}]\n"
    for key in ("sets", "during"):
        found = _findings("{id: fit, title: Fit, " + key + ": {rotor: {by: side, exhaust: down, else: up}}}", head=rule)
        assert {code for code, _ in found} >= {"dead-end"}, key
        assert all("exhaust" in options for code, options in found if code == "dead-end")


def test_proof_covers_every_choice_of_a_formula() -> None:
    """Only with `exhaust` the formula uses a value that may be recorded later."""
    operations = (
        "{id: one, title: One, record: {a: {unit: mm}}}",
        "{id: late, title: Late, record: {b: {unit: mm}}}",
        "{id: sum, title: Sum, after: one, "
        "work-out: {c: {is: {by: side, intake: a + 1 mm, exhaust: a + b}, unit: mm}}}",
    )
    (found,) = _findings(*operations)
    assert found[0] == "value-absent"
    assert "exhaust" in found[1]


def test_proof_covers_every_choice_of_a_window() -> None:
    operations = (
        "{id: glue, title: Glue}",
        "{id: rest, title: Rest, after: glue, takes: 2 h}",
        "{id: fit, title: Fit, after: rest, time: {glue: {by: side, intake: at most 3 h, exhaust: at most 1 h}}}",
    )
    (found,) = _findings(*operations)
    assert found[0] == "time-conflict"
    assert "exhaust" in found[1]


def test_limit_that_nothing_satisfies_is_found_in_any_variant() -> None:
    operation = (
        "{id: one, title: One, record: {gap: {limit: 0.1 .. 0.2 mm}}, work-out: {play: {is: gap * 2, unit: mm, "
        "limit: {by: side, intake: at least 0.3 mm, exhaust: at least 0.5 mm}}}}"
    )
    assert _findings(operation) == {("never-ok", "")}


def test_problem_of_every_variant_is_reported_once() -> None:
    head = HEAD.replace("pattern: star 4", "pattern: star 4, thread: M6x1, class: '8.8', nut-factor: 0.15")
    operation = (
        "{id: one, title: One, each: cap, do: {by: side, intake: x, exhaust: {by: cap, else: y}}, "
        "record: {a: {unit: mm, decision: guarded, limit: 1 mm}}, tighten: {joint: flange, stages: [60 N·m, 30 N·m]}}"
    )
    reading = read(procedure_with(operation, head=head))
    assert reading.procedure is not None
    found = [*check_structure(reading.procedure, reading.problems, "p"), *joint_problems(reading.procedure, "p")]
    told = [(one.code, one.line, one.column, one.message) for one in found]
    assert len(told) == len(set(told))
    assert {"above-breaking-load", "cannot-prove", "falling-torque"} <= {one.code for one in found}


def test_limits_of_other_readings_are_not_mixed() -> None:
    """The limits contradict each other only if reading 1 is taken for reading 2."""
    operation = (
        "{id: one, title: One, record: {gap: {unit: mm, readings: cap, limit: {by: cap, 1: 1 mm, else: 9 mm}}}, "
        "work-out: {big: {is: 'gap[2] + 0 mm', unit: mm, limit: at least 8 mm}}}"
    )
    assert _findings(operation) == set()


def test_variants_of_remedies_under_stages_are_proven() -> None:
    operations = (
        "{id: one, title: One, undo: {do: x}}",
        "{id: two, title: Two, after: one, undo: {do: x}, tighten: {joint: flange, stages: {by: side, "
        "intake: [10 N·m], "
        "exhaust: [5 N·m, {torque: 10 N·m, below: [{do: Clean it, redo: [one]}]}]}}}",
    )
    assert _findings(*operations) == set()
    broken = operations[0].replace(", undo: {do: x}", ""), operations[1]
    assert {code for code, _ in _findings(*broken)} == {"unreachable-remedy"}


def test_bench_shows_the_limits_of_all_readings(tmp_path: Path) -> None:
    operation = (
        "{id: set, title: Set, record: {bore: {unit: mm, readings: cap, "
        "limit: {by: cap, 1: 10 .. 11 mm, else: 20 .. 21 mm}, with: {by: cap, 1: dial, else: feeler}}}}"
    )
    script = _session(tmp_path, operation)
    script.do("start", operation="set")
    for instrument in ("Dial", "Feeler"):
        (shown,) = _inputs(script)
        assert isinstance(shown, ReadingInput)
        assert (shown.limit, shown.instrument) == ("1: 10 .. 11 mm; 2, 3: 20 .. 21 mm", instrument)
        script.do("record", name="bore", value="10.5 mm")


def test_by_names_the_set_of_the_section_and_the_own_set(tmp_path: Path) -> None:
    """`cap` is the place of the section, `end` that of the operation in it."""
    text = procedure_with(head="places: {cap: [1, 2], end: [left, right]}\n") + (
        "  - {id: fit, title: Fit, each: end, record: {gap: {unit: mm, limit: "
        "{by: cap, 1: {by: end, left: 1 .. 2 mm, right: 3 .. 4 mm}, 2: 5 .. 6 mm}}}}\n"
    )
    script = Script(tmp_path, text.replace("- title: All", "- title: All\n  each: cap"))
    script.do_all(open_intent())
    limits = {}
    for place in ("1, left", "1, right", "2, left", "2, right"):
        script.do("start", operation=f"fit[{place}]")
        ((_, verdict, limit),) = _verdicts(script.do("record", name="gap", value="3.5 mm"))
        limits[place] = limit, verdict
        if verdict != "ok":
            script.do("record", name="gap", value="5.5 mm" if place.startswith("2") else "1.5 mm")
        script.do("finish")
    assert limits == {
        "1, left": ("1 .. 2 mm", "high"), "1, right": ("3 .. 4 mm", "ok"),
        "2, left": ("5 .. 6 mm", "low"), "2, right": ("5 .. 6 mm", "low"),
    }  # fmt: skip
    assert _sound(script)


# --- a file with `by` means the same as the files without it ---------------------------------------

_VARIED = """
  - id: one
    title: One
    record: {a: {unit: mm, limit: ⟦0.1 .. 0.2 mm|0.004 .. 0.008 in|at most 0.3 mm⟧}}
    undo: {do: x}
  - id: two
    title: Two
    do: ⟦Oil it|Grease it|Leave it dry⟧
    needs: {rotor: ⟦up|down|[up, down]⟧}
    during: {rotor: ⟦up|up|down⟧}
    sets: {rotor: ⟦down|up|down⟧}
    time: {one: ⟦at most 1 h|at least 2 min|{limit: at most 2 h, from: a}⟧}
    takes: ⟦1 min|2 min|3 min⟧
    record:
      b:
        unit: mm
        limit: ⟦above a by 1 .. 2 mm|at least 1 mm|below 9 mm⟧
        used: ⟦1 mm|2 mm|3 mm⟧
        with: ⟦feeler|dial|dial⟧
      c: {unit: mm, readings: cap, limit: {by: cap, 1: ⟦1 mm|2 mm|3 mm⟧, else: ⟦4 mm|5 mm|6 mm⟧}}
    work-out: {d: {is: ⟦a + b|a * 2|b - a⟧, unit: mm, limit: ⟦at most 9 mm|at least 1 mm|1 .. 99 mm⟧}}
    choose: {pad: {by: a, from: ⟦[{take: A}]|[{up to: 1 mm, take: B}, {take: C}]|[{take: A}]⟧}}
    check: [⟦See it|Feel it|Hear it⟧, {see: ⟦Red|Blue|Green⟧, id: colour}]
    tighten:
      joint: flange
      stages: ⟦[10 N·m]|[by hand, 12 N·m]|[{torque: 5 N·m, below: [{do: x, redo: [one]}]}, ⟦2 N·m|3 N·m|22 N·m⟧]⟧
    undo: {do: x, needs: {rotor: ⟦up|down|up⟧}, sets: {rotor: ⟦ask|up|down⟧}}
"""


def _written(text: str, choice: int | None) -> str:
    """The text with one branch of each ⟦...⟧, or with all of them as `by`."""
    while "⟦" in text:
        start = text.rindex("⟦")
        end = text.index("⟧", start)
        branches = text[start + 1 : end].split("|")
        by = ", ".join(f"{name}: {branch}" for name, branch in zip(("in", "out", "else"), branches, strict=True))
        text = text[:start] + (f"{{by: kind, {by}}}" if choice is None else branches[choice]) + text[end + 1 :]
    return text


def _without_marks(value: object) -> object:
    if isinstance(value, dict):
        kept = {key: item for key, item in value.items() if not str(key).endswith("mark") and key != "finding_marks"}
        return {key: _without_marks(item) for key, item in kept.items()}
    return [_without_marks(item) for item in value] if isinstance(value, list | tuple) else value


def test_by_means_what_the_files_without_it_mean() -> None:
    head = HEAD.replace("options: {side:", "options: {kind: {choices: [in, out, other]}, side:")
    varied = read(procedure_with(head=head) + _written(_VARIED, None))
    assert varied.procedure is not None, [str(problem) for problem in varied.problems]
    again = msgspec.json.decode(msgspec.json.encode(varied.procedure), type=Procedure)  # as the compiled cache does
    for number, kind in enumerate(("in", "out", "other")):
        plain = read(procedure_with(head=head) + _written(_VARIED, number))
        assert plain.procedure is not None, [str(problem) for problem in plain.problems]
        options = {"kind": kind, "side": "intake"}
        expected = _without_marks(msgspec.to_builtins(expand(plain.procedure, options).steps))
        for procedure in (varied.procedure, again):
            assert _without_marks(msgspec.to_builtins(expand(procedure, options).steps)) == expected
        in_plain = {(one.code, one.where) for one in prove(plain.procedure).findings}
        assert in_plain - {(one.code, one.where) for one in prove(varied.procedure).findings} == set()
