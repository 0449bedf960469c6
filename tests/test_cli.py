"""The commands, each run as a separate process, with real files and an isolated home folder."""

import json
import os
import shutil
import signal
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

from benchflow.session.log.journal import Journal
from benchflow.session.log.line_format import read
from tests.driving.command_server import needs_a_start, run_command
from tests.driving.log_files import write_log
from tests.driving.small_head import SMALL_HEAD

ROOT = Path(__file__).parents[1]
OPEN = {"intent": "open", "by": "R.", "unit": "job 7", "options": {"cams": "standard"}, "start": {"pistons": "down"}}


class Shell:
    """Runs commands in a working folder, with an isolated ``BENCHFLOW_HOME``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.environ = {**os.environ, "BENCHFLOW_HOME": str(folder / "home"), "PYTHONPATH": str(ROOT), "TZ": "UTC"}
        (folder / "small.yaml").write_text(SMALL_HEAD, encoding="utf-8")

    def start(self, *arguments: object, **more: Any) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [sys.executable, "-m", "benchflow", *map(str, arguments)],
            **{"cwd": self.folder, "env": self.environ, "stdin": subprocess.PIPE, "stdout": subprocess.PIPE,
               "stderr": subprocess.PIPE, **more},
        )  # fmt: skip

    def run(self, *arguments: object, typed: str = "", **more: Any) -> tuple[int, str, str]:
        """Run a command to its end. Returns the exit code, standard output and standard error."""
        if not more and not needs_a_start(self.environ):
            code, output, errors = run_command(self.folder, *arguments, env=self.environ, typed=typed.encode())
            return code, output.decode(), errors.decode()
        child = self.start(*arguments, **more)
        output, errors = child.communicate(typed.encode(), timeout=60)
        return child.returncode, output.decode(), errors.decode()

    def drive(self, log: str, *intents: dict[str, Any], options: tuple[str, ...] = ()) -> list[dict[str, Any]]:
        typed = "".join(json.dumps(intent) + "\n" for intent in intents)
        code, output, errors = self.run("drive", "small.yaml", "--log", log, *options, typed=typed)
        assert (code, errors) == (0, "")
        return [json.loads(line) for line in output.splitlines()]


@pytest.fixture
def shell(tmp_path: Path) -> Shell:
    return Shell(tmp_path)


# --- wrong calls and help ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "hint"),
    [
        (["chek", "small.yaml"], "Did you mean `check`?"),
        (["verify", "--jsn", "x"], "--json"),
        (["verify", "lok.jsonl"], "Did you mean log.jsonl?"),
        (["log", "lok.jsonl"], "Did you mean log.jsonl?"),
        (["check", "smal.yaml"], "Did you mean small.yaml?"),
        (["drive", "head-instal", "--log", "x"], "Did you mean head-install.yaml?"),
        (["run", "head-instal"], "Did you mean head-install.yaml?"),
        (["sessions", "--folder", "gone"], "There is no folder gone"),
        (["run", "--log-folder", "gone"], "There is no folder gone"),
        (["drive", "small.yaml", "--log", "gone/x.jsonl"], "There is no folder gone"),
        (["drive", "small.yaml", "--log", "x", "--shop", "gone"], "There is no shop file gone"),
        (["check"], "at least one FILE"),
        (["completion", "perl"], "bash"),
    ],
)
def test_wrong_call_ends_with_code_2_and_a_hint(shell: Shell, call: list[str], hint: str) -> None:
    write_log(shell.folder / "home-less.jsonl", 1)
    (shell.folder / "log.jsonl").write_bytes((shell.folder / "home-less.jsonl").read_bytes())
    code, output, errors = shell.run(*call)
    assert code == 2
    assert hint in errors
    assert output == ""
    assert "Traceback" not in errors
    assert not (shell.folder / "home" / "data").exists()


def test_run_without_a_terminal_is_refused(shell: Shell) -> None:
    code, output, errors = shell.run("run", "small.yaml")
    assert (code, output) == (2, "")
    assert "needs a terminal" in errors
    assert "benchflow drive" in errors


@pytest.mark.parametrize("call", [[], ["--help"], ["-h"]])
def test_help_lists_every_command_and_every_exit_code(shell: Shell, call: list[str]) -> None:
    from benchflow.cli import COMMANDS

    code, output, _ = shell.run(*call)
    assert code == 0
    for text in (*COMMANDS, "benchflow run", "  0 ", "  1 ", "  2 ", "  70 ", "  130 "):
        assert text in output


def test_every_command_has_its_own_help_with_exit_codes() -> None:
    import click

    from benchflow.cli import COMMANDS, benchflow

    context = click.Context(benchflow, info_name="benchflow")
    for name in COMMANDS:
        command = benchflow.get_command(context, name)
        assert command is not None, name
        assert command.name == name
        text = command.get_help(click.Context(command, info_name=name))
        assert len(text) > 300, name
        assert "Exit codes:" in text, name


def test_version_option_prints_the_version_of_the_package(shell: Shell) -> None:
    from benchflow import __version__

    assert shell.run("--version") == (0, f"benchflow {__version__}\n", "")


# --- drive -------------------------------------------------------------------------------------------


def test_drive_answers_after_the_event_is_on_disk(shell: Shell) -> None:
    child = shell.start("drive", "small.yaml", "--log", "build.jsonl")
    assert child.stdin is not None
    assert child.stdout is not None
    for number, intent in enumerate([OPEN, {"intent": "start", "operation": "seal"}], start=1):
        child.stdin.write(json.dumps(intent).encode() + b"\n")
        child.stdin.flush()
        answer = json.loads(child.stdout.readline())
        on_disk = read((shell.folder / "build.jsonl").read_bytes())
        assert len(on_disk.lines) == number
        assert on_disk.lines[-1].hash == answer["events"][-1]["hash"]
    child.send_signal(signal.SIGKILL)
    child.communicate(timeout=30)

    (status,) = shell.drive("build.jsonl", {"intent": "status"})
    assert status["ok"]
    assert "seal" in json.dumps(status)


def test_second_program_cannot_write_to_the_same_log(shell: Shell) -> None:
    child = shell.start("drive", "small.yaml", "--log", "build.jsonl")
    assert child.stdin is not None
    assert child.stdout is not None
    child.stdin.write(json.dumps(OPEN).encode() + b"\n")
    child.stdin.flush()
    child.stdout.readline()
    code, output, errors = shell.run(
        "drive", "small.yaml", "--log", "build.jsonl", typed='{"intent": "start", "operation": "seal"}\n'
    )
    child.communicate(timeout=30)
    assert code == 0
    assert "this job is open in another window since " in errors
    assert json.loads(output)["refused"][0]["code"] == "not-saved"


def test_torn_last_line_is_moved_away_and_the_job_continues(shell: Shell) -> None:
    shell.drive("build.jsonl", OPEN)
    with (shell.folder / "build.jsonl").open("ab") as file:
        file.write(b'{"at": "2026')
    code, output, errors = shell.run(
        "drive", "small.yaml", "--log", "build.jsonl", typed='{"intent": "start", "operation": "seal"}\n'
    )
    assert (code, json.loads(output)["ok"]) == (0, True)
    assert "build.jsonl.torn-1" in errors
    assert (shell.folder / "build.jsonl.torn-1").read_bytes() == b'{"at": "2026'


def test_drive_refuses_a_procedure_with_mistakes(shell: Shell) -> None:
    (shell.folder / "bad.yaml").write_text("benchflow: 1\nidd: x\n", encoding="utf-8")
    code, output, errors = shell.run("drive", "bad.yaml", "--log", "build.jsonl")
    assert (code, output) == (2, "")
    assert "bad.yaml:2:1:" in errors
    assert not (shell.folder / "build.jsonl").exists()


# --- log, verify, sessions ------------------------------------------------------------------------------


def test_log_prints_readable_text_or_verifiable_events(shell: Shell) -> None:
    answers = shell.drive("build.jsonl", OPEN, {"intent": "start", "operation": "seal"})
    code, output, errors = shell.run("log", "build.jsonl")
    assert (code, errors) == (0, "")
    assert "Small head, revision 1" in output
    assert "1 Seal the corners  [seal]" in output

    code, output, errors = shell.run("log", "build.jsonl", "--json")
    assert (code, errors) == (0, "")
    assert [json.loads(line) for line in output.splitlines()] == [line for each in answers for line in each["events"]]
    assert read(output.encode()).damage is None


def test_control_characters_in_a_log_are_not_printed(shell: Shell) -> None:
    note = {"intent": "note", "text": "\x1b]52;c;cm0=\x07 \u009b2J \u202e it rang"}
    shell.drive("build.jsonl", {**OPEN, "unit": "7\x1b[2J"}, note)
    for call in (["log", "build.jsonl"], ["log", "build.jsonl", "--json"], ["sessions", "--folder", "."],
                 ["sessions", "--folder", ".", "--json"]):  # fmt: skip
        _, output, errors = shell.run(*call)
        assert not set(output + errors) & set("\x1b\x07\u009b\u202e"), call
    assert "it rang" in shell.run("log", "build.jsonl")[1]


def test_log_is_found_by_a_unique_part_of_its_name(shell: Shell) -> None:
    logs = shell.folder / "home" / "data" / "sessions"
    logs.mkdir(parents=True)
    for name in ("2026-03-01_head_job-7", "2026-03-02_head_job-8"):
        shell.drive(str(logs / f"{name}.jsonl"), OPEN)
    assert shell.run("verify", "job-7")[0] == 0
    code, _, errors = shell.run("verify", "head")
    assert code == 2
    assert "matches 2 logs" in errors
    assert "job-7" in shell.run("sessions")[1]


def test_job_open_in_another_program_is_listed_as_in_use(shell: Shell) -> None:
    log = shell.folder / "a.jsonl"
    shell.drive(str(log), OPEN)
    with Journal.open(log):
        assert shell.run("sessions", "--folder", ".")[1].startswith("in use")
        assert json.loads(shell.run("sessions", "--folder", ".", "--json")[1])["status"] == "held"


def test_verify_distinguishes_whole_torn_damaged_and_missing_logs(shell: Shell) -> None:
    good = write_log(shell.folder / "good.jsonl", 3)
    (shell.folder / "torn.jsonl").write_bytes(good[:-4])
    (shell.folder / "bad.jsonl").write_bytes(good.replace(b"note 1", b"note 9"))
    assert shell.run("verify", "good.jsonl", "torn.jsonl")[0] == 0
    assert shell.run("verify", "good.jsonl", "bad.jsonl")[0] == 1
    assert shell.run("verify", "bad.jsonl", "gone.jsonl", "good.jsonl")[0] == 2

    code, output, errors = shell.run("verify", "good.jsonl", "torn.jsonl", "bad.jsonl", "--json")
    assert (code, errors) == (1, "")
    whole, torn, bad = (json.loads(line) for line in output.splitlines())
    assert (whole["ok"], whole["events"], whole["damage"], whole["torn"]) == (True, 3, None, False)
    assert (torn["ok"], torn["events"], torn["torn"]) == (True, 2, True)
    assert (bad["ok"], bad["events"], bad["damage"]["line"]) == (False, 1, 2)

    text = shell.run("verify", "good.jsonl", "bad.jsonl")[1]
    assert "good.jsonl: whole, 3 events. Fingerprint " + whole["head"] in text
    assert "bad.jsonl:2: DAMAGED" in text


def test_log_prints_a_damaged_log_up_to_the_damage(shell: Shell) -> None:
    shell.drive(
        "build.jsonl", OPEN, {"intent": "note", "text": "the first note"}, {"intent": "note", "text": "the second note"}
    )
    path = shell.folder / "build.jsonl"
    path.write_bytes(path.read_bytes().replace(b"the second note", b"another note!!!"))
    code, output, errors = shell.run("log", "build.jsonl")
    assert code == 1
    assert "the first note" in output
    assert "THE LOG IS DAMAGED: line 3" in output
    assert "another note" not in output
    assert "build.jsonl:3:" in errors


def test_sessions_lists_jobs_and_makes_no_folder(shell: Shell) -> None:
    code, output, errors = shell.run("sessions")
    assert (code, output) == (0, "")
    assert "benchflow run" in errors
    assert not (shell.folder / "home").exists()

    shell.drive("build.jsonl", OPEN)
    code, output, errors = shell.run("sessions", "--folder", ".", "--json")
    assert (code, errors) == (0, "")
    session = json.loads(output)
    assert (session["unit"], session["by"], session["status"]) == ("job 7", "R.", "open")


# --- where, schema, completion ------------------------------------------------------------------------


def test_where_shows_folders_under_benchflow_home_and_makes_none(shell: Shell) -> None:
    code, output, errors = shell.run("where", "--json")
    assert (code, errors) == (0, "")
    places = json.loads(output)
    home = str(shell.folder / "home")
    assert places["home"] == home
    assert all(places[name].startswith(home) for name in ("sessions", "shop", "data", "config", "cache"))
    assert any(path.endswith("head-install.yaml") for path in places["library"])
    assert places["sessions"] in shell.run("where")[1]
    assert not Path(home).exists()


def test_installed_package_finds_the_shipped_procedures(shell: Shell) -> None:
    """The package is copied as the wheel arranges it, outside of the checkout."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wheel = project["tool"]["hatch"]["build"]["targets"]["wheel"]
    site = shell.folder / "site"
    for package in wheel["packages"]:
        shutil.copytree(ROOT / package, site / package, ignore=shutil.ignore_patterns("__pycache__"))
    for source, place in wheel["force-include"].items():
        shutil.copytree(ROOT / source, site / place)
    shell.environ["PYTHONPATH"] = str(site)
    library = json.loads(shell.run("where", "--json")[1])["library"]
    assert {Path(path).name for path in library} == {path.name for path in (ROOT / "procedures").glob("*.yaml")}
    assert all(path.startswith(str(site)) for path in library)


def test_schema_is_a_valid_json_schema(shell: Shell) -> None:
    from jsonschema import Draft202012Validator

    code, output, errors = shell.run("schema")
    assert (code, errors) == (0, "")
    Draft202012Validator.check_schema(json.loads(output))


@pytest.mark.parametrize("name", ["bash", "zsh", "fish"])
def test_completion_prints_a_script_for_each_shell(shell: Shell, name: str) -> None:
    code, output, errors = shell.run("completion", name)
    assert (code, errors) == (0, "")
    assert "_BENCHFLOW_COMPLETE" in output


def test_shell_completes_command_names(shell: Shell) -> None:
    shell.environ |= {"_BENCHFLOW_COMPLETE": "bash_complete", "COMP_WORDS": "benchflow ver", "COMP_CWORD": "1"}
    assert "verify" in shell.run()[1]


def test_drive_lists_every_intent_with_its_fields(shell: Shell) -> None:
    from benchflow.session.intents.intent_types import INTENT_TYPES

    code, output, errors = shell.run("drive", "--intents")
    assert (code, errors) == (0, "")
    lines = [line for line in output.splitlines() if line and not line.startswith("Any")]
    assert {line.split()[0] for line in lines if not line.startswith(" ")} == INTENT_TYPES.keys()
    at = next(number for number, line in enumerate(lines) if line.startswith("correct "))
    assert lines[at + 1].split() == [
        "Fields:",
        "event",
        "reason",
        "[value]",
        "[from]",
        "[stretch]",
        "[pin]",
        "[change]",
    ]


# --- behaviour as a process -----------------------------------------------------------------------------


def test_closed_pipe_is_not_an_error(shell: Shell) -> None:
    write_log(shell.folder / "log.jsonl", 500)
    line = f"{sys.executable} -m benchflow log log.jsonl --json | head -n 1"
    done = subprocess.run(["bash", "-o", "pipefail", "-c", line], cwd=shell.folder, env=shell.environ,
                          capture_output=True, text=True, timeout=60, check=False)  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["seq"] == 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a disk that is always full")
@pytest.mark.parametrize("command", ["guide", "--help", "log log.jsonl"])
def test_full_disk_gives_one_line_and_code_2(shell: Shell, command: str) -> None:
    write_log(shell.folder / "log.jsonl", 3)
    line = f"{sys.executable} -m benchflow {command} > /dev/full"
    done = subprocess.run(["bash", "-c", line], cwd=shell.folder, env=shell.environ,
                          capture_output=True, text=True, timeout=60, check=False)  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.startswith("benchflow: The output cannot be written: No space left")
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_output_cut_short_by_a_full_disk_gives_a_message_and_code_2(shell: Shell, unbuffered: str) -> None:
    # A limit of 8 blocks stands for the disk: the first part of the output is written, the rest is not.
    line = f"ulimit -f 8; trap '' XFSZ; {sys.executable} -m benchflow guide > cut.txt"
    # No compiled module may be written under this limit: it would be cut short too, and then not be readable.
    environ = {**shell.environ, "PYTHONUNBUFFERED": unbuffered, "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(["bash", "-c", line], cwd=shell.folder, env=environ,
                          capture_output=True, text=True, timeout=60, check=False)  # fmt: skip
    assert 0 < (shell.folder / "cut.txt").stat().st_size <= 8192
    assert done.returncode == 2
    assert "The output is not complete" in done.stderr


def test_home_of_an_unknown_user_gives_a_message(shell: Shell) -> None:
    shell.environ |= {"BENCHFLOW_HOME": "~nobody-of-this-name/x"}
    code, _, errors = shell.run("sessions")
    assert (code, "no such user" in errors) == (2, True)


def test_closed_output_is_never_written_into_the_log(shell: Shell) -> None:
    shell.drive("build.jsonl", OPEN)
    line = f"{sys.executable} -m benchflow drive small.yaml --log build.jsonl >&- 2>&-"
    note = json.dumps({"intent": "note", "text": "output is closed"})
    done = subprocess.run(["bash", "-c", line], input=note, cwd=shell.folder, env=shell.environ,
                          capture_output=True, text=True, timeout=60, check=False)  # fmt: skip
    assert done.returncode == 0
    code, output, _ = shell.run("verify", "build.jsonl")
    assert (code, "whole, 3 events" in output) == (0, True)


def test_terminal_without_utf8_gets_escaped_characters(shell: Shell) -> None:
    shell.drive("build.jsonl", OPEN, {"intent": "note", "text": "60 N·m"})
    shell.environ |= {"PYTHONIOENCODING": "ascii"}
    code, output, errors = shell.run("log", "build.jsonl")
    assert (code, errors) == (0, "")
    assert r"60 N\xb7m" in output
    assert json.loads(shell.run("log", "build.jsonl", "--json")[1].splitlines()[1])["data"]["text"] == "60 N·m"


def test_crash_names_the_log_and_shows_no_values(shell: Shell) -> None:
    script = """
import benchflow.session.json_lines as driving
def crash(controller, lines, out):
    secret = "not to be shown"
    raise RuntimeError("a fault put in by a test")
driving.drive = crash
from benchflow.cli import main
main(["drive", "small.yaml", "--log", "build.jsonl"])
"""
    done = subprocess.run([sys.executable, "-c", script], cwd=shell.folder, env=shell.environ,
                          capture_output=True, text=True, timeout=60, check=False)  # fmt: skip
    assert done.returncode == 70
    assert done.stdout == ""
    assert "build.jsonl" in done.stderr
    assert "benchflow run" in done.stderr
    assert "a fault put in by a test" in done.stderr
    assert "not to be shown" not in done.stderr


@pytest.mark.parametrize(
    "call", [["--help"], ["verify", "log.jsonl"], ["sessions"], ["where"], ["log", "log.jsonl", "--json"]]
)
def test_small_command_imports_no_large_library(shell: Shell, call: list[str]) -> None:
    write_log(shell.folder / "log.jsonl", 1)
    script = f"""
import sys
from benchflow.cli import main
try:
    main({call!r})
finally:
    large = {{"pint", "ruamel", "scipy", "numpy", "networkx", "textual", "rich"}}
    print(sorted(large & set(sys.modules)), file=sys.stderr)
"""
    done = subprocess.run([sys.executable, "-c", script], cwd=shell.folder, env=shell.environ,
                          capture_output=True, text=True, timeout=60, check=True)  # fmt: skip
    assert done.stderr.splitlines()[-1] == "[]"


def test_every_code_of_the_reader_is_explained() -> None:
    from benchflow.commands.problem_explanations import READER_CODES
    from benchflow.ordering.finding_explanations import EXPLANATIONS
    from benchflow.procedure.problems import CODES

    assert set(READER_CODES) == set(CODES) - EXPLANATIONS.keys()
