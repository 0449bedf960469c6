"""Weak points of parts, states, half-done work and clocks, in small jobs. Data is invented."""

from pathlib import Path

from benchflow.review.evidence.assessment import WHOLE_JOB, review_everything
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.log.loaded_log import LoadedLog, load_log
from tests.driving.clocked_job import ClockedJob
from tests.driving.script import Json, Script, intent, open_intent, procedure_with, read_procedure

KIT = "kit: {parts: {seal: {title: Seal ring, discard: true}, gasket: {title: Gasket, lot: required, discard: true}}}\n"
SEAL = "{id: seal, title: Press in the seal, uses: [seal], undo: {do: Pull it out, discard: [seal]}}"
GASKET = "{id: gasket, title: Lay the gasket, uses: [gasket], undo: {do: Take it off, discard: [gasket]}}"
CLOSE = intent("close", unfinished="sold as it is")


def work(operation: str, *entries: Json) -> list[Json]:
    return [intent("start", operation=operation), *entries, intent("finish")]


def job(folder: Path, procedure: str, *intents: Json) -> LoadedLog:
    script = Script(folder, procedure)
    script.do_all(open_intent(), *intents)
    return load_log(script.path, read_procedure)


def points(log: LoadedLog, operation: str) -> dict[str, WeakPoint]:
    guards = review_everything(log).guards
    found = next((guard.reasons for guard in guards if guard.operation == operation), ())
    return {point.kind: point for point in found}


def lot(number: str) -> Json:
    return intent("lot", consumable="gasket", lot=number)


def test_part_that_was_thrown_away_and_has_no_lot_is_mentioned(tmp_path: Path) -> None:
    rework = intent("rework", operation="seal", reason="not seated")
    log = job(tmp_path, procedure_with(SEAL, head=KIT), *work("seal"), rework, *work("seal"))
    found = points(log, "seal")["new-part-unknown"]
    assert found.words.startswith("Seal ring: thrown away at event")
    assert "the procedure asks for no lot" in found.words
    assert found.grade < 20
    noted = intent("note", text="new seal ring from the shelf")
    (tmp_path / "new").mkdir()
    again = job(tmp_path / "new", procedure_with(SEAL, head=KIT), *work("seal"), rework, *work("seal", noted))
    assert "new-part-unknown" not in points(again, "seal")


def test_same_lot_after_a_discard_is_a_part_fitted_again(tmp_path: Path) -> None:
    rework = intent("rework", operation="gasket", reason="it slid")
    procedure = procedure_with(GASKET, head=KIT)
    log = job(tmp_path, procedure, *work("gasket", lot("G 1")), rework, *work("gasket", lot("g 1")))
    assert "lot g 1 was entered again" in points(log, "gasket")["fitted-after-discard"].words
    (tmp_path / "new").mkdir()
    log = job(tmp_path / "new", procedure, *work("gasket", lot("G 1")), rework, *work("gasket", lot("G 2")))
    assert not {"fitted-after-discard", "not-replaced", "lot-changed"} & set(points(log, "gasket"))


def test_joint_to_yield_that_was_tightened_to_the_end_twice_is_a_weak_point(tmp_path: Path) -> None:
    head = "joints: {studs: {title: Studs, layout: '1 2', to-yield: true}}\n"
    pull = "{id: pull, title: Pull down, tighten: {joint: studs, stages: [20 N·m, +90°]}, undo: {do: Loosen}}"
    ticks = [intent("tick", joint="studs", fastener=number) for number in (1, 2, 1, 2)]
    rework = intent("rework", operation="pull", reason="leaks")
    log = job(tmp_path, procedure_with(pull, head=head), *work("pull", *ticks), rework, *work("pull", *ticks))
    found = points(log, "pull")["tightened-twice"]
    assert found.words.startswith("studs was tightened 2 times to the end")
    assert found.grade == 74


def test_state_by_hand_counts_more_where_a_rule_reads_it(tmp_path: Path) -> None:
    head = (
        "state: {cap: {values: [off, on], start: off}, crank: {values: [up, down], start: up}}\n"
        "interference: [{never: {crank: up, cap: on}, because: it hits}]\n"
        "moves: {turn: {title: Turn the crank, sets: {crank: down}}}\n"
    )
    procedure = procedure_with("{id: fit, title: Fit the cap, needs: {crank: down}, sets: {cap: on}}", head=head)
    by_hand = intent("set-state", variable="crank", value="down", reason="looked in")
    found = points(job(tmp_path, procedure, by_hand, *work("fit")), "fit")["set-by-hand"]
    assert "looked in" in found.words
    assert "“Turn the crank” sets it; a rule of interference reads it" in found.words
    (tmp_path / "moved").mkdir()
    moved = job(tmp_path / "moved", procedure, intent("move", move="turn"), *work("fit"))
    assert "set-by-hand" not in points(moved, "fit")


def test_work_left_half_done_says_what_is_open(tmp_path: Path) -> None:
    look = "{id: look, title: Look, record: {gap: {unit: mm}, play: {unit: mm}}, check: [Clean, Dry]}"
    entered = [intent("start", operation="look"), intent("record", name="gap", value="1 mm"), intent("pause"), CLOSE]
    found = points(job(tmp_path, procedure_with(look), *entered), "look")["never-done"]
    assert found.words == "started, then paused and not finished; open: Play, 2 checks"
    assert found.grade == 80


def test_check_answered_no_is_weighed_although_it_is_signed(tmp_path: Path) -> None:
    look = "{id: look, title: Look, check: [{see: No crack, id: crack}]}"
    signed = intent("deviate", operation="look", about="crack", reason="agreed", by="Kim")
    answered = intent("tick-check", check=1, answer="no")
    found = points(job(tmp_path, procedure_with(look), *work("look", answered, signed)), "look")
    assert found["check-no"].words == "the check “No crack” was answered no"
    assert found["check-no"].grade > found["deviation"].grade


def test_note_of_no_operation_counts_for_the_job_or_the_step_that_it_names(tmp_path: Path) -> None:
    notes = [intent("note", text="gasket has a crease"), intent("note", text="felt odd"), intent("note", text="lunch")]
    log = job(tmp_path, procedure_with(SEAL, GASKET, head=KIT), *notes)
    assert points(log, "gasket")["odd-note"].words == "Robin wrote: “gasket has a crease”"
    whole = next(guard for guard in review_everything(log).guards if guard.title == WHOLE_JOB)
    assert [(point.words, point.grade) for point in whole.reasons] == [
        ("Robin wrote: “felt odd”", 36), ("Robin wrote: “lunch”", 4),
    ]  # fmt: skip


def test_clock_set_back_without_a_window_is_only_mentioned(tmp_path: Path) -> None:
    clocked = ClockedJob(tmp_path, procedure_with("{id: look, title: Look}"))
    clocked.wait(5).set_clock(-30).do("start", operation="look")
    clocked.wait(5).do("finish")
    found = points(load_log(clocked.path, read_procedure), "")["clock-back"]
    assert found.words == "the computer clock was set back 30 min; no time window ran then"
    assert found.grade < 20
