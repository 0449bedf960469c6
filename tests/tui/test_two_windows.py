"""Two windows on one job in real terminals: one works, the other watches and continues after the first has left."""

import signal
from pathlib import Path

import pytest

from benchflow.session.log.log_check import verify
from benchflow.session.log.sidecars import write_moved
from tests.driving.log_files import events_in
from tests.driving.small_head import SMALL_HEAD, start_session
from tests.tui.terminal import Terminal
from tests.tui.test_terminal import FOUR, RUN, bench, measuring, readings

LEFT = "The other window has left this job"


def watching(log: Path, columns: int = 44, rows: int = 30) -> Terminal:
    env = {"BENCHFLOW_HOME": str(log.parent / "home")}
    return Terminal([*RUN, "--watch", str(log)], env=env, columns=columns, rows=rows)


def files_beside(log: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(log.parent.iterdir()) if path.is_file()}


def test_watcher_continues_when_the_holder_leaves(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    with bench(log) as holder:
        holder.wait_for("Lash")
        with bench(log) as watcher:
            watcher.wait_for("VIEW ONLY", "this job is open in another window since", " on ")
            holder.type("0.25\r")
            watcher.wait_for("0.25 mm")
            watcher.type("t")
            watcher.type("0.01\r")
            watcher.wait_for("there is no field for it")
            holder.type("q")
            holder.wait_for("Everything you entered is on disk")
            holder.type("\r")
            assert holder.wait_end() == 0
            watcher.wait_for(LEFT, "t continue here")
            watcher.type("t")
            watcher.wait_gone("VIEW ONLY")
            watcher.type("0.01\r")
            watcher.wait_for("0.01 mm")
    assert readings(log) == FOUR[:2]
    assert verify(log).damage is None


def test_watcher_continues_when_the_holder_is_killed(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    with bench(log) as holder:
        holder.wait_for("Lash")
        with bench(log) as watcher:
            watcher.wait_for("VIEW ONLY")
            holder.type("0.25\r")
            watcher.wait_for("0.25 mm")
            holder.signal(signal.SIGKILL)
            holder.wait_end()
            watcher.wait_for(LEFT)
            watcher.type("t")
            watcher.wait_gone("VIEW ONLY")
            watcher.type("0.01\r0.02\r")
            watcher.wait_for("0.02 mm")
    assert readings(log) == FOUR[:3]


def test_third_window_takes_the_job_and_the_offer_is_withdrawn(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    with bench(log) as holder, bench(log) as watcher:
        holder.wait_for("Lash")
        watcher.wait_for("Lash")
        if "VIEW ONLY" in holder.text:
            holder, watcher = watcher, holder
        watcher.wait_for("VIEW ONLY")
        holder.signal(signal.SIGKILL)
        holder.wait_end()
        watcher.wait_for(LEFT)
        with bench(log) as third:
            third.wait_for("Lash")
            watcher.wait_gone("continue here")
            third.type("0.25\r")
            watcher.wait_for("0.25 mm")
    assert readings(log) == FOUR[:1]


def test_watch_shows_a_free_job_and_never_locks_or_writes(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    before = files_beside(log)
    with watching(log) as watcher:
        watcher.wait_for("VIEW ONLY", "Lash", "View only: this window only")
        watcher.type("t0.25\rq")
        watcher.wait_for("Leave the bench")
        watcher.type("q")
        watcher.wait_gone("Leave the bench")
        assert files_beside(log) == before
        with bench(log) as holder:
            holder.wait_for("Lash")
            assert "VIEW ONLY" not in holder.text
            holder.type("0.25\r")
            watcher.wait_for("0.25 mm")
        watcher.read(2.5)
        assert "continue here" not in watcher.text
    assert readings(log) == FOUR[:1]


def test_watcher_shows_where_a_moved_job_continues(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    stick = tmp_path / "stick"
    stick.mkdir()
    with bench(log) as watcher:
        watcher.wait_for("Lash")
        write_moved(log, stick / log.name)
        watcher.read(1.5)
        assert "continues in" not in watcher.text, "this window works on the log itself"
    with watching(log, 120) as watcher:
        watcher.wait_for("This job continues in", "stick")
        assert "continue here" not in watcher.text


@pytest.mark.parametrize("columns", [40, 60])
def test_watch_is_readable_on_a_telephone(tmp_path: Path, columns: int) -> None:
    log = measuring(tmp_path)
    with watching(log, columns, 32) as watcher:
        watcher.wait_for("Measure", "Lash", "STATE", "NEXT")
        assert "…" not in watcher.lines[0]


def test_watched_log_that_is_damaged_or_replaced_is_reported(tmp_path: Path) -> None:
    log = measuring(tmp_path)
    whole = log.read_bytes()
    with watching(log) as watcher:
        watcher.wait_for("Lash")
        log.write_bytes(whole + b'{"seq":1}\n')
        watcher.wait_for("is not an event")
        log.write_bytes(whole)
        watcher.wait_gone("is not an event")
        log.write_bytes(whole.replace(b"Robin", b"Rabin"))
        watcher.wait_until(lambda: "was replaced by another log" in " ".join(watcher.text.split()), "the error")
        log.unlink()
        watcher.wait_gone("replaced")
        assert "Lash" in watcher.text, "what was read stays on the screen"
        watcher.type("q\r")
        assert watcher.wait_end() == 0
    assert not log.exists()


def test_procedure_with_an_open_job_asks_before_it_opens_one(tmp_path: Path) -> None:
    logs = tmp_path / "logs"
    logs.mkdir()
    driver = start_session(logs)
    driver.lower_head()
    driver.controller.close()
    log = driver.controller.journal.path
    procedure = tmp_path / "small.yaml"
    procedure.write_text(SMALL_HEAD, encoding="utf-8")
    before = log.read_bytes()
    command = [*RUN, str(procedure), "--log-folder", str(logs)]
    env = {"BENCHFLOW_HOME": str(tmp_path / "home")}
    with Terminal(command, env=env) as terminal:
        terminal.wait_for("► ○ Start a new job", events_in(log)[0]["data"]["unit"], "2 of 9 done")
        terminal.type("\r")
        terminal.wait_for("Invented for the tests.")
        terminal.type("\x1b")
        terminal.wait_for("► ○ Start a new job")
        terminal.type("\x1b[B\r")
        terminal.wait_for("STATE")
    assert log.read_bytes() == before
