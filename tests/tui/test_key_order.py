"""Keys are handled in the order in which they were typed, in a real terminal."""

import pytest

from tests.tui.terminal import Terminal

PROGRAM = "tests.tui.three_fields"


def entered(mode: str, *bursts: str) -> str:
    """Send bursts to the program and return what it entered."""
    with Terminal(["-m", PROGRAM, mode], columns=120) as terminal:
        terminal.wait_for("ready")
        for burst in bursts:
            terminal.type(burst)
        terminal.wait_end()
        return terminal.painted.rpartition(b"entered: ")[2].decode().strip()


@pytest.mark.parametrize("mode", ["plain", "stall", "worker"])
def test_burst_of_three_readings_fills_three_fields(mode: str) -> None:
    assert entered(mode, "12.34\r56.78\r9\r") == "['12.34', '56.78', '9']"


@pytest.mark.parametrize("mode", ["plain", "stall", "worker"])
def test_backspace_and_tab_in_a_burst_act_in_order(mode: str) -> None:
    # Tab leaves "2" in the second field. Enter in the third field ends the program.
    assert entered(mode, "19\x7f.5\r2\t7\x7f8\r") == "['1.5', '8']"


def test_burst_that_opens_a_dialog_fills_the_dialog_and_the_fields_below() -> None:
    assert entered("dialog", "1.5\rlot 7\r2.5\r3\r") == "['1.5', 'dialog lot 7', '2.5', '3']"


def test_pasted_text_keeps_its_place_among_typed_keys() -> None:
    assert entered("stall", "1\x1b[200~2.5\x1b[201~4\r7\x1b[200~8\x1b[201~\r9\r") == "['12.54', '78', '9']"


@pytest.mark.parametrize("keys", ["1\r2\r3\r", "1\x1bOP3\r"], ids=["in a handler", "in a binding"])
def test_error_in_the_middle_of_a_burst_ends_the_program_without_hanging(keys: str) -> None:
    with Terminal(["-m", PROGRAM, "raise"], columns=120) as terminal:
        terminal.wait_for("ready")
        terminal.type(keys)
        assert terminal.wait_end() == 0
        assert b"planted" in terminal.painted
        assert terminal.painted.endswith(b"entered: None\r\n")
