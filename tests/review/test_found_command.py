"""The command ``found`` and the complaint in the log, on real files. Names and figures are invented."""

import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchflow.cli import benchflow
from benchflow.review.audit.audit_file import audit_file
from benchflow.session.log.journal import Journal
from benchflow.session.log.lock import current_holder
from benchflow.session.log.log_check import verify
from tests.driving.log_files import events_in
from tests.driving.script import Script, intent, open_intent, procedure_with, read_procedure

PROCEDURE = procedure_with(
    "{id: seal, title: Seal the cover, check: [The bead is whole], guards-against: drips}",
    "{id: fill, title: Fill with oil, check: [Filled], guards-against: drips}",
    head="failures: {drips: Drips oil}\n",
)
FOUND = ("--complaint", "it leaks", "--finding", "The bead was broken", "--step", "1", "--outcome", "ours")


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def job(home: Path, unit: str = "job 7") -> Path:
    """The closed log of a small job in the default folder."""
    folder = home / "data" / "sessions"
    folder.mkdir(parents=True, exist_ok=True)
    script = Script(folder, PROCEDURE)
    script.path = folder / f"{unit.replace(' ', '-')}.jsonl"
    script.do_all(open_intent(by="Ann", unit=unit))
    for operation in ("seal", "fill"):
        script.do_all(intent("start", operation=operation), intent("tick-check", check=1), intent("finish"))
    script.do_all(intent("close"))
    return script.path


def run(*arguments: str, code: int = 0) -> Result:
    done = CliRunner().invoke(benchflow, arguments, standalone_mode=False)
    if done.exception is not None and code == 0:
        raise done.exception
    assert (done.return_value if done.exception is None else 2) == code, done.output
    return done


def review(name: str, *arguments: str) -> dict[str, object]:
    found: dict[str, object] = json.loads(run("review", name, *arguments, "--json").stdout)
    return found


def test_finding_is_signed_logged_filed_and_shown_in_the_review_of_another_build(home: Path) -> None:
    path, other = job(home), job(home, "job 8")
    before = other.read_bytes()
    answer = json.loads(run("found", "job-7", *FOUND, "--hours", "6", "--by", "Ida", "--json").stdout)
    assert (answer["operation"], answer["outcome"], answer["hours"], answer["by"]) == ("seal", "ours", "6", "Ida")
    last = events_in(path)[-1]
    assert (last["kind"], last["seq"], last["by"]) == ("found", answer["event"], "Ida")
    assert audit_file(path, read_procedure)[0].wrong == ()
    found = review("job-8", "losing oil")
    assert found["cases"] == {
        "total": 1, "steps": [{"operation": "seal", "title": "Seal the cover", "cases": 1}], "without_step": 0,
        "outcomes": {"ours": 1}, "needed": 10, "counts": False,
    }  # fmt: skip
    own = review("job-7", "losing oil")
    assert own["cases"] is None  # its own finding is no earlier case
    assert isinstance(own["findings"], list)
    assert own["findings"][0]["finding"] == "The bead was broken"
    assert "Found on " in run("review", "job-7", "leak").stdout
    text = run("review", "job-8", "leak").stdout
    assert "with this complaint: 1 of 1 Seal the cover. Fewer than 10" in text
    assert other.read_bytes() == before  # a review reads only


def test_complaint_is_logged_only_if_asked(home: Path) -> None:
    path = job(home)
    before = path.read_bytes()
    run("review", "job-7", "leak", "--when", "hot", "--retorque", "no", "--text")
    assert path.read_bytes() == before
    done = run("review", "job-7", "leak", "--when", "hot", "--log", "--by", "Ida", "--text")
    assert f"as event {len(events_in(path))}" in done.stderr
    data = events_in(path)[-1]["data"]
    assert (data["text"], data["answers"]) == ("leak", {"when": "hot"})
    run("found", "job-7", *FOUND[2:])
    assert events_in(path)[-1]["data"]["complaint"] == "leak"
    later = review("job-7", "it drips")  # another word for the same: its answers are known
    assert later["answers"] == {"when": "hot"}
    assert review("job-7", "leak", "--when", "cold")["answers"] == {"when": "cold"}


def test_finding_is_corrected_and_withdrawn(home: Path) -> None:
    job(home)
    job(home, "job 8")
    first = json.loads(run("found", "job-7", *FOUND, "--json").stdout)["event"]
    second = json.loads(run("found", "job-7", *FOUND, "--step", "2", "--replaces", str(first), "--json").stdout)[
        "event"
    ]
    cases = review("job-8", "leak")["cases"]
    assert isinstance(cases, dict)
    assert [each["operation"] for each in cases["steps"]] == ["fill"]
    run("found", "job-7", "--withdraw", str(second), "--reason", "It was another car")
    assert review("job-8", "leak")["cases"] is None


def test_same_finding_is_not_added_twice(home: Path) -> None:
    path = job(home)
    first = json.loads(run("found", "job-7", *FOUND, "--hours", "2.50", "--json").stdout)
    again = json.loads(run("found", "job-7", *FOUND, "--hours", "2.5 h", "--json").stdout)
    assert (first["added"], again["added"], again["event"]) == (True, False, first["event"])
    assert f"has this finding already: event {first['event']}" in run("found", "job-7", *FOUND, "--hours", "2.5").stdout
    assert [event["kind"] for event in events_in(path)].count("found") == 1
    run("found", "job-7", *FOUND, "--hours", "3")  # another one
    assert [event["kind"] for event in events_in(path)].count("found") == 2


def test_finding_is_not_added_to_an_earlier_copy(home: Path) -> None:
    path = job(home)
    earlier = home / "restored.jsonl"
    earlier.write_bytes(path.read_bytes())
    before = earlier.read_bytes()
    run("found", "job-7", *FOUND)
    refused = str(run("found", str(earlier), *FOUND, "--hours", "2", code=2).exception)
    assert f"The later copy was at {path}. Add the entry to the later copy." in refused
    assert earlier.read_bytes() == before
    assert "It is BEHIND" in run("review", str(earlier), "leak", "--text").stdout
    path.unlink()  # now the earlier copy is the best one
    done = run("found", str(earlier), *FOUND, "--hours", "2", code=1)  # the archive has the later copy
    assert "It is BEHIND" in done.stderr
    assert [event["kind"] for event in events_in(earlier)].count("found") == 1


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        (("--complaint", "leaks"), "Give --finding, --outcome."),
        ((*FOUND, "--step", "3"), "The build has no step '3'."),
        ((*FOUND, "--date", "yesterday"), "“yesterday” is not a date"),
        ((*FOUND, "--replaces", "1"), "This job has no finding"),
        (("--withdraw", "3"), "--withdraw needs --reason."),
    ],
)
def test_wrong_option_is_refused_and_nothing_is_written(home: Path, arguments: tuple[str, ...], text: str) -> None:
    path = job(home)
    before = path.read_bytes()
    assert text in str(run("found", "job-7", *arguments, code=2).exception)
    assert path.read_bytes() == before


def test_log_that_another_program_has_open_is_not_changed_and_the_entry_is_printed(home: Path) -> None:
    path = job(home)
    before = path.read_bytes()
    holder = Journal.open(path)
    try:
        done = run("found", "job-7", *FOUND, "--json", code=2)
    finally:
        holder.close()
    lost = json.loads(done.stdout)
    assert (lost["added"], lost["intent"]["finding"]) == (False, "The bead was broken")
    assert "View only: " in str(done.exception)
    assert '"finding":"The bead was broken"' in str(done.exception)
    assert path.read_bytes() == before


def test_damaged_log_and_log_of_the_old_format_are_not_changed(home: Path) -> None:
    path = job(home)
    content = path.read_bytes()
    for changed in (content.replace(b"Ann", b"Bob", 5), content.replace(b'"format":3', b'"format":1', 1)):
        path.write_bytes(changed)
        assert '"finding":"The bead was broken"' in str(run("found", "job-7", *FOUND, code=2).exception)
        assert path.read_bytes() == changed


def test_killed_command_leaves_a_whole_log(home: Path) -> None:
    path = job(home)
    seen, moments = set[int](), random.Random(1)
    arguments = [sys.executable, "-m", "benchflow", "found", "job-7", *FOUND]
    for _ in range(4):
        process = subprocess.Popen(arguments, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env={**os.environ})
        time.sleep(moments.uniform(0.1, 1.2))
        process.send_signal(signal.SIGKILL)
        process.wait()
        check = verify(path)
        assert check.damage is None
        seen.add(check.events)
    assert current_holder(path) is None
    run("found", "job-7", *FOUND)  # the log can be written after that, and is in the archive
    assert not verify(path).torn
    assert audit_file(path, read_procedure)[0].wrong == ()
    kinds = [event["kind"] for event in events_in(path)]
    assert kinds.count("found") >= 1
