"""The questions about collisions and what their answers block. Invented data; pairs: common practice, no source."""

from collections.abc import Callable
from pathlib import Path

import pytest

from benchflow.commands.check import check_file
from benchflow.writing.drafts.collision_questions import (
    Answer,
    Collision,
    HeldStill,
    ask_collisions,
    pairs_to_ask,
)
from benchflow.writing.drafts.collision_rules import write_collisions
from benchflow.writing.drafts.draft_source import DraftSource
from tests.driving.script import Script, intent, open_intent
from tests.tui.terminal import Terminal
from tests.writing.test_draft_from_teardown import operation, procedure_of, torn_down

PARTS = ("crankshaft", "valves")
LOCK = "1st and 5th gear in to lock the shafts"


def answered(answers: list[str], titles: tuple[str, ...] = PARTS, locks: tuple[str, ...] = ()) -> tuple[
    list[Answer], list[str], list[str]
]:  # fmt: skip
    """The result of an interview with these answers, the questions, and what was said."""
    questions: list[str] = []
    said: list[str] = []
    left = iter(answers)

    def ask(question: str, default: str) -> str:
        questions.append(question)
        return next(left) or default

    return ask_collisions(titles, ask, said.append, locks), questions, said


def test_answer_is_shown_as_a_rule_and_questions_are_numbered() -> None:
    found, questions, said = answered(["y", "at the top", "open", "", ""])
    assert found == [
        Collision("crankshaft", "at the top", "valves", "open", "the crankshaft would hit or block the valves")
    ]
    assert [text[:16] for text in questions if text.startswith("Question")] == ["Question 1 of 2:", "Question 2 of 2:"]
    assert said == [
        "Rule: never crankshaft “at-the-top” while valves is “open”: the crankshaft would hit or block the valves."
    ]


def test_enter_alone_means_no_at_every_question() -> None:
    assert answered(["", "", ""], locks=(LOCK,))[0] == []


def test_b_goes_back_to_the_question_before_and_its_answer_is_given_again() -> None:
    found, questions, _ = answered(["y", "at the top", "open", "", "b", "n", ""])
    assert found == []
    assert [text[:10] for text in questions if text.startswith("Question")] == [
        "Question 1", "Question 2", "Question 1", "Question 2",
    ]  # fmt: skip


def test_b_in_a_position_goes_back_to_its_question() -> None:
    assert answered(["y", "b", "n", ""])[0] == []


def test_q_ends_the_questions_and_keeps_what_was_answered() -> None:
    found, _, said = answered(["y", "at the top", "open", "they bend", "fork, gear", "q"])
    assert [type(each) for each in found] == [Collision]
    assert "This question is not answered: nothing is written for it." in said


@pytest.mark.parametrize("position", ["the fork, shaft", "?"])
def test_text_that_is_not_a_position_is_asked_again(position: str) -> None:
    found, _, said = answered(["y", position, "at the top", "open", "", "q"])
    assert isinstance(found[0], Collision)
    assert found[0].first_position == "at the top"
    assert len(said) == 2


def test_answer_that_is_neither_yes_nor_no_is_asked_again() -> None:
    found, _, said = answered(["yesterday", "n", ""])
    assert (found, said[0][:13]) == ([], "“yesterday” i")


def test_what_must_not_turn_while_locked_is_asked() -> None:
    found, questions, _ = answered(["", "input shaft, output shaft", ""], locks=(LOCK,))
    assert found == [HeldStill(LOCK, ("input shaft", "output shaft"))]
    assert f"While “{LOCK}”" in questions[1]


def test_pairs_that_touch_in_practice_come_before_neighbours() -> None:
    titles = ["1st gear", "synchro sleeve", "main shaft", "layshaft", "shift rail 1/2", "fork 1/2", "shift rail 3/4"]
    pairs = pairs_to_ask(titles)
    assert ("synchro sleeve", "fork 1/2") in pairs
    assert ("shift rail 1/2", "shift rail 3/4") in pairs
    assert ("bearing plate", "5th gear pair") in pairs_to_ask(["bearing plate", "5th gear pair"])


# --- what the rules block ---------------------------------------------------------------------------------


def with_rules(tmp_path: Path, *lines: str, answers: list[Answer]) -> DraftSource:
    found = torn_down(tmp_path, *lines)
    write_collisions(found.book, answers)
    path = tmp_path / "draft.yaml"
    path.write_text(found.book.text(), encoding="utf-8")
    report = check_file(path, None)
    assert report["ok"], report
    assert {finding["severity"] for finding in report["findings"]} <= {"note"}, report
    return found


def bench(tmp_path: Path, found: DraftSource) -> tuple[Script, Callable[[str], None]]:
    """A job on the draft, and a function that does a whole operation of checks."""
    (tmp_path / "bench").mkdir()
    script = Script(tmp_path / "bench", found.book.text())
    script.do_all(open_intent())

    def do(step: str) -> None:
        count = len(operation(found, step.partition("[")[0]).check)
        checks = (intent("tick-check", check=number) for number in range(1, count + 1))
        script.do_all(intent("start", operation=step), *checks, intent("finish", operation=step))

    return script, do


TOUCH = Collision("rotor", "at the top", "valves", "open", "the valves would bend")


def test_rule_refuses_an_order_at_the_bench(tmp_path: Path) -> None:
    script, do = bench(tmp_path, found := with_rules(tmp_path, "valves", "rotor", answers=[TOUCH]))
    do("wash-parts")
    assert script.refused("move", move="rotor-top") == ["state-not-met"]  # it is not fitted yet
    do("fit-rotor")
    script.do_all(intent("move", move="rotor-top"))
    assert "state-not-met" in script.refused("start", operation="fit-valves")
    script.do_all(intent("move", move="rotor-clear"))
    do("fit-valves")
    script.do_all(intent("move", move="valves-open"))
    assert {"state-not-met"} <= set(script.refused("move", move="rotor-top"))
    assert "state-not-met" in script.refused("start", operation="turn-by-hand")
    script.do_all(intent("move", move="valves-clear"))
    do("turn-by-hand")
    assert operation(found, "turn-by-hand").needs == {"rotor": ("clear",), "valves": ("clear",)}


def test_parts_at_several_places_have_a_state_that_blocks_as_well(tmp_path: Path) -> None:
    rule = Collision("rotor", "at the top", "valves", "open", "the valves would bend")
    script, do = bench(tmp_path, with_rules(tmp_path, "2x valves left + right", "rotor", answers=[rule]))
    do("wash-parts")
    do("fit-rotor")
    do("fit-valves[left]")
    script.do_all(intent("move", move="valves-open"))
    assert "state-not-met" in script.refused("start", operation="fit-valves[right]")
    script.do_all(intent("move", move="valves-clear"))
    do("fit-valves[right]")


def test_name_in_other_words_finds_the_part_that_is_fitted(tmp_path: Path) -> None:
    rule = Collision("the fork", "in gear", "shaft", "turning", "")
    found = with_rules(tmp_path, "selector fork 1/2", "input shaft", answers=[rule])
    assert operation(found, "fit-selector-fork-1-2").sets == {"selector-fork-1-2": "clear"}
    assert operation(found, "fit-input-shaft").sets == {"input-shaft": "clear"}


def test_part_that_no_operation_fits_is_asked_for_at_the_start(tmp_path: Path) -> None:
    rule = Collision("rotor", "at the top", "hoist", "low", "they would touch")
    found = with_rules(tmp_path, "rotor", answers=[rule])
    assert procedure_of(found).variables_by_name["hoist"].start is None
    assert "No operation fits these" in found.book.text()


def test_what_must_not_turn_while_locked_is_a_rule(tmp_path: Path) -> None:
    found = with_rules(
        tmp_path, f"5th gear nut, 1x M22x1.5, state: {LOCK}", "input shaft", answers=[HeldStill(LOCK, ("input shaft",))]
    )
    (rule,) = procedure_of(found).interference
    assert rule.never == {"lock": ("locked",), "input-shaft-turning": ("turning",)}
    turn = operation(found, "turn-by-hand")
    assert (turn.during, turn.needs) == ({"input-shaft-turning": "turning"}, {"lock": ("free",)})


# --- on a terminal ----------------------------------------------------------------------------------------


def test_questions_are_wrapped_between_words_on_a_narrow_terminal(tmp_path: Path) -> None:
    torn_down(tmp_path, "shift rail with the long 5th and reverse selector", "input shaft with output shaft together")
    out = tmp_path / "made.yaml"
    command = ["-m", "benchflow", "draft", str(tmp_path / "teardown.jsonl"), "-o", str(out)]
    with Terminal(command, env={"BENCHFLOW_HOME": str(tmp_path / "home")}) as terminal:
        terminal.wait_for("Question 1 of 2", "b back, q end")
        assert not [line for line in terminal.text.splitlines() if len(line.rstrip()) >= 80]
        terminal.type("y\r")
        terminal.wait_for("In which position")
        terminal.type("in gear\r")
        terminal.wait_for("And in which position")
        terminal.type("turning\r")
        terminal.wait_for("What happens then?")
        terminal.type("\r")
        terminal.wait_for("Rule: never", "Question 2 of 2")
        terminal.type("q\r")
        terminal.wait_for("Next: benchflow check")
    assert "interference:" in out.read_text(encoding="utf-8")
