"""The bench in a real terminal: bursts of keys, a killed program, a closed terminal. The log has all that was typed."""

import os
import re
import signal
import termios
from pathlib import Path

import pytest

from benchflow.session.log.log_check import verify
from tests.driving.log_files import events_in
from tests.driving.small_head import SMALL_HEAD, start_session
from tests.tui.terminal import Terminal

RUN = ["-m", "benchflow", "run"]


def measuring(folder: Path) -> Path:
    """The log of a job with a measuring operation in progress: lash, and three readings of run-out."""
    driver = start_session(folder, start={"pistons": "down"})
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    driver.controller.close()
    return driver.controller.journal.path


def bench(log: Path, **env: str) -> Terminal:
    return Terminal([*RUN, str(log)], env={"BENCHFLOW_HOME": str(log.parent / "home"), **env})


def readings(log: Path) -> list[tuple[str, str, str]]:
    data = [event["data"] for event in events_in(log) if event["kind"] == "recorded"]
    return [(each["name"], each["reading"], each["quantity"]["entered"]) for each in data]


FOUR = [("lash[1]", "1", "0.25 mm"), ("runout[1]", "1", "0.01 mm"), ("runout[1]", "2", "0.02 mm"),
        ("runout[1]", "3", "0.03 mm")]  # fmt: skip


def test_burst_of_four_readings_fills_four_fields(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    with bench(log) as terminal:
        terminal.wait_for("Lash")
        terminal.type("0.25\r0.01\r0.02\r0.03\r")
        terminal.wait_for("Finished: 5 Measure no. 1")
    assert readings(log) == FOUR


def test_scan_among_readings_is_refused_entirely_and_the_fields_are_filled_in_order(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    with bench(log) as terminal:
        terminal.wait_for("Lash")
        terminal.type("0.25\rnadu-0042\r0.01\r0.09\x7f\x7f02\r0.03\r")
        terminal.wait_for("Finished: 5 Measure no. 1")
    assert readings(log) == [*FOUR[:2], ("runout[1]", "2", "0.02 mm"), FOUR[3]]
    assert {event["kind"] for event in events_in(log)}.isdisjoint({"noted", "paused", "deviation"})


def test_readings_sent_to_a_stopped_program_are_complete(tmp_path: Path) -> None:
    """After a stop there must be one reader of the keys. Two readers would divide a burst between them."""
    log = measuring(tmp_path)
    with bench(log) as terminal:
        terminal.wait_for("Lash")
        for _ in range(2):
            terminal.signal(signal.SIGSTOP)
            terminal.signal(signal.SIGCONT)
        terminal.signal(signal.SIGSTOP)
        terminal.type("0.25\r0.01\r0.02\r0.03\r")
        terminal.signal(signal.SIGCONT)
        terminal.wait_for("Finished: 5 Measure no. 1")
        terminal.signal(signal.SIGTERM)
        assert terminal.wait_end() == 128 + signal.SIGTERM
        left = termios.tcgetattr(terminal.fd)[3]
    assert readings(log) == FOUR
    assert left & termios.ECHO
    assert left & termios.ICANON


def test_killed_program_continues_with_the_count_and_the_draft(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    with bench(log) as terminal:
        terminal.wait_for("Lash")
        terminal.type("0.25\r0.01\r0.0")
        terminal.wait_for("[0.0 ")
        draft = log.with_name(log.name + ".draft")
        terminal.wait_until(lambda: len(readings(log)) == 2, "two readings on disk")
        terminal.wait_until(lambda: draft.exists() and '"0.0"' in draft.read_text(), "the draft on disk")
        terminal.signal(signal.SIGKILL)
        assert terminal.wait_end() == -signal.SIGKILL
    with bench(log) as terminal:
        terminal.wait_for("[0.0 ", "0.25 mm")
        terminal.type("2\r")
        terminal.wait_for("0.02 mm")
    assert readings(log) == FOUR[:3]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_signal_ends_the_program_and_restores_the_terminal(tmp_path: Path, number: signal.Signals) -> None:
    log = measuring(tmp_path)
    with bench(log) as terminal:
        terminal.wait_for("Lash")
        terminal.type("0.25\r0.0")
        terminal.wait_for("[0.0 ")
        terminal.signal(number)
        assert terminal.wait_end() == 128 + number
        restored = terminal.painted.rpartition(b"\x1b[?1049l")
        assert restored[1], "the alternate screen was left on"
        assert b"\x1b[?1000l" in terminal.painted, "the mouse was left on"
        assert b"\x1b[?25h" in restored[2], "the cursor was left hidden"
    assert readings(log) == FOUR[:1]
    assert verify(log).damage is None
    assert not list(tmp_path.glob("*.lock*")), "the log is still locked"


def test_closed_terminal_ends_the_program_and_releases_the_log(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    with bench(log) as terminal:
        terminal.wait_for("Lash")
        terminal.type("0.25\r")
        terminal.wait_for("0.25 mm ok")
        terminal.close()
        terminal.wait_end()
    with bench(log) as terminal:
        terminal.wait_for("0.25 mm")
        assert "VIEW ONLY" not in terminal.text


def test_second_window_is_view_only_and_follows_the_first(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    with bench(log) as writer:
        writer.wait_for("Lash")
        with bench(log) as watcher:
            watcher.wait_for("VIEW ONLY", "Lash", "View only: this job is open in another window")
            writer.type("0.25\r")
            watcher.wait_for("0.25 mm")
            watcher.type("0.01\r")
            watcher.wait_for("there is no field for it")
            watcher.type("q\r")
            assert watcher.wait_end() == 0
    assert readings(log) == FOUR[:1]


def test_no_color_gives_a_screen_without_colours(tmp_path: Path) -> None:
    with bench(measuring(tmp_path), NO_COLOR="1") as terminal:
        terminal.wait_for("Lash", "STATE")
        codes = [code for found in re.findall(rb"\x1b\[([0-9;]*)m", terminal.painted) for code in found.split(b";")]
    colours = {code for code in codes if re.fullmatch(rb"3[0-8]|4[0-8]|9\d|10\d", code)}
    assert not colours


def test_plain_terminal_gets_only_sixteen_colours(tmp_path: Path) -> None:
    with bench(measuring(tmp_path), TERM="linux", COLORTERM="") as terminal:
        terminal.wait_for("Lash", "STATE")
    assert not re.search(rb"\x1b\[[0-9;]*[34]8;[25]", terminal.painted)


@pytest.mark.parametrize("raw", [b"\xb0", b"\x1b[1114112u", b"\x1b[97;99999999999u", b"\x1b[48;1:t", b"\x00\xff\xfe"])
def test_byte_that_is_not_a_key_does_not_end_the_bench(tmp_path: Path, raw: bytes) -> None:
    log = measuring(tmp_path)
    with bench(log) as terminal:
        terminal.wait_for("Lash")
        os.write(terminal.fd, raw)
        os.write(terminal.fd, b"\x150.25\r")  # Ctrl+U empties the field
        terminal.wait_for("0.25 mm ok")
    assert readings(log) == FOUR[:1]


def test_reading_with_a_byte_that_is_not_utf8_is_refused_and_stays_in_the_field(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    with bench(log) as terminal:
        terminal.wait_for("Lash")
        os.write(terminal.fd, b"0.2\xb05\r")
        terminal.wait_for("0.2\ufffd5")
        terminal.type("q")
        assert terminal.status is None
    assert readings(log) == []


def test_error_in_a_key_is_shown_with_the_log_and_the_next_key_works(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    env = {"BENCHFLOW_HOME": str(tmp_path / "home")}
    said = ("Internal error: this key was not carried out", "crashes.txt")
    with Terminal(["-m", "tests.tui.crash_on_key", str(log)], env=env, columns=200) as terminal:
        for key in ("x", "w", "d", "x"):  # in the action, in a worker, in drawing
            terminal.wait_for("ready to crash")
            terminal.type(key)
            terminal.wait_until(
                lambda: all(text in "".join(line.strip() for line in terminal.lines) for text in (*said, str(log))),
                "the error and the log",
            )
            terminal.type("c")
            terminal.wait_gone("Internal error")
        terminal.signal(signal.SIGTERM)
        assert terminal.wait_end() == 128 + signal.SIGTERM
        printed = terminal.painted.rpartition(b"\x1b[?1049l")[2].replace(b"\r\n", b"").decode()
    assert "crashes.txt" in printed
    kept = (tmp_path / "home/data/crashes.txt").read_text()
    assert kept.count("planted") >= 4  # a page that is drawn again fails again
    assert "nobody's business" not in kept
    assert verify(log).damage is None


def test_crash_prints_the_path_of_the_log_and_no_values_of_variables(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    env = {"BENCHFLOW_HOME": str(tmp_path / "home")}
    with Terminal(["-m", "tests.tui.crash_on_key", str(log)], env=env, columns=200) as terminal:
        terminal.wait_for("ready to crash")
        terminal.type("t")
        assert terminal.wait_end() == 1
        printed = terminal.painted.rpartition(b"\x1b[?1049l")[2].replace(b"\r\n", b"").decode()
    assert "planted" in printed
    assert str(log) in printed
    assert "nobody's business" not in printed
    assert verify(log).damage is None


def test_leaving_prints_the_log_and_how_to_continue(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    with bench(log) as terminal:
        terminal.wait_for("Lash")
        terminal.type("q")
        terminal.wait_for("Everything you entered is on disk")
        terminal.type("\r")
        assert terminal.wait_end() == 0
        assert str(log).encode() in terminal.painted.rpartition(b"\x1b[?1049l")[2].replace(b"\r\n", b"")


def test_job_is_started_by_keys_alone(tmp_path: Path) -> None:
    procedure = tmp_path / "small.yaml"
    procedure.write_text(SMALL_HEAD, encoding="utf-8")
    env = {"BENCHFLOW_HOME": str(tmp_path / "home")}
    with Terminal([*RUN, str(procedure)], env=env) as terminal:
        terminal.wait_for("Invented for the tests.", "► Unit", "Enter next")
        # Type unit and builder, then take the first choice of each question. The default folder needs no key.
        terminal.type("2417\rRobin\r")
        terminal.wait_for("► Which cams?")
        terminal.type("\x1b[C\r\x1b[C")
        terminal.wait_for("Enter start the job")
        terminal.type("\r")
        terminal.wait_for("Seal the corners", "1 log line")
    (log,) = (tmp_path / "home/data/sessions").glob("*.jsonl")
    opened = events_in(log)[0]
    assert (opened["by"], opened["data"]["unit"], opened["data"]["options"]) == ("Robin", "2417", {"cams": "standard"})
    assert opened["data"]["start"] == {"pistons": "at-deck", "valves": "shut"}


def test_countdown_that_begins_at_the_bench_runs_at_once(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.do("start", operation="seal")
    driver.do("lot", consumable="sealant", lot="0042")
    driver.controller.close()
    with bench(driver.controller.journal.path) as terminal:
        terminal.wait_for("Finish")
        terminal.type("\r")
        terminal.wait_until(lambda: re.search(r"9:5[4-8] left", terminal.text) is not None, "a clock that runs")
