"""The command ``revise``, on files and logs of ten invented jobs (``tests/driving/revised_jobs.py``)."""

import json
import os
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from benchflow.cli import benchflow
from benchflow.commands import revise_prompts
from benchflow.commands.file_lookup import log_paths
from benchflow.procedure.model import ProcedureChange
from benchflow.session.machine_folders import shipped_procedures
from benchflow.session.procedure_loading import procedure_reader
from benchflow.writing.revisions.checked_text import check_revision
from benchflow.writing.revisions.gathered_jobs import gather_jobs
from benchflow.writing.revisions.procedure_file import read_procedure_file
from benchflow.writing.revisions.proposals import proposals_for
from tests.driving.clocked_job import ClockedJob
from tests.driving.forged_log import ForgedLog
from tests.driving.log_files import events_in
from tests.driving.revised_jobs import GEARBOX, JOBS, done_job, done_jobs, open_job
from tests.driving.session_driver import read_procedure
from tests.tui.terminal import Terminal

Json = dict[str, Any]


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the logs of the ten jobs, each in a folder of its own. They are only read."""
    folder = tmp_path_factory.mktemp("jobs")
    done_jobs(folder)
    return folder


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The procedure in a file of its own."""
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "gearbox.yaml"
    path.write_text(GEARBOX, encoding="utf-8")
    return path


def revise(*arguments: str | Path) -> Result:
    return CliRunner().invoke(benchflow, ["revise", *map(str, arguments)], standalone_mode=False)


def listed(file: Path, *jobs: Path) -> dict[str, Json]:
    """The proposals by kind, the last one of each kind."""
    result = revise(file, *jobs, "--list", "--json")
    return {each["kind"]: each for each in json.loads(result.stdout)["proposals"]}


def changes_in(file: Path) -> tuple[ProcedureChange, ...]:
    return read_procedure(file.read_text(encoding="utf-8")).changes


def test_ten_jobs_give_each_kind_of_proposal_with_its_lines(file: Path, logs: Path) -> None:
    found = listed(file, logs)
    assert set(found) == {"note", "come-back", "figure", "time", "remedy", "near-limit", "never-done"}
    assert found["time"]["new"] == "14 min"
    assert found["time"]["why"].startswith("The median of the worked time in 10 jobs is 14 min")
    assert "7 of 10 jobs" in found["remedy"]["why"]
    assert (found["come-back"]["operation"], found["come-back"]["new"]) == ("seal", "leaks")
    assert (found["figure"]["old"], found["figure"]["new"]) == ("ask", "24 N·m")
    assert "-    takes: 5 min     # a guess\n+    takes: 14 min     # a guess" in found["time"]["diff"]
    assert file.read_text(encoding="utf-8") == GEARBOX


def test_every_accepted_proposal_is_traceable_from_the_file_to_the_log_line(file: Path, logs: Path) -> None:
    proposals = json.loads(revise(file, logs, "--list", "--json").stdout)["proposals"]
    every = ",".join(str(each["number"]) for each in proposals)
    assert revise(file, logs, "--accept", every).return_value == 0
    changes = changes_in(file)
    assert len(changes) == len(proposals)
    lines = {}
    for path in logs.glob("*/*.jsonl"):
        events = events_in(path)
        for event in events:
            lines[f"{events[0]['data']['unit']}, line {event['seq']} (log {events[0]['hash'][:12]})"] = event
    kinds = {"note": "noted", "come-back": "found", "figure": "figure-given", "time": "finished", "remedy": "remedied",
             "near-limit": "recorded", "never-done": "closed"}  # fmt: skip
    for proposal, change in zip(proposals, changes, strict=True):
        assert (change.revision, change.what.split(":")[0]) == ("C", proposal["operation"])
        assert change.from_ == tuple(each["reference"] for each in proposal["evidence"])
        assert {lines[reference]["kind"] for reference in change.from_} == {kinds[proposal["kind"]]}


def come_back_proposals(file: Path, *jobs: Path) -> list[Json]:
    proposals = json.loads(revise(file, *jobs, "--list", "--json").stdout)["proposals"]
    return [each for each in proposals if each["kind"] == "come-back"]


def test_step_that_a_come_back_names_gets_a_check_in_the_words_of_the_finding(file: Path, logs: Path) -> None:
    check, guard = come_back_proposals(file, logs)
    assert (check["key"], guard["key"]) == ("check", "guards-against")
    assert check["new"] == "Not found: The lip was turned over (a job came back: leaks oil)"
    assert (check["certain"], guard["certain"]) == (False, True)
    assert "“Fit the seal” should have prevented it" in check["why"]
    assert revise(file, logs, "--accept", str(check["number"])).return_value == 0
    points = read_procedure(file.read_text(encoding="utf-8")).operations_by_id["seal"].check
    assert [point.text for point in points][-1] == check["new"]
    assert len(points) == 3


@pytest.mark.parametrize(
    ("typed", "checks", "cautions"),
    [
        ("The lip is not turned over", ["The lip is not turned over"], []),
        ("warning: A turned lip leaks", [], [("warning", "A turned lip leaks")]),
    ],
)
def test_check_of_a_come_back_is_written_in_own_words_or_as_a_caution(
    file: Path, logs: Path, typed: str, checks: list[str], cautions: list[tuple[str, str]]
) -> None:
    number = come_back_proposals(file, logs)[0]["number"]
    assert revise(file, logs, "--set", f"{number}={typed}").return_value == 0
    seal = read_procedure(file.read_text(encoding="utf-8")).operations_by_id["seal"]
    assert [point.text for point in seal.check][2:] == checks
    assert [(caution.signal, caution.text) for caution in seal.cautions] == cautions


@pytest.mark.parametrize(("outcome", "key"), [("part", "check"), ("use", "cautions"), ("unknown", "comment")])
def test_place_of_the_prevention_depends_on_what_was_the_cause(
    file: Path, tmp_path: Path, outcome: str, key: str
) -> None:
    job = ClockedJob(tmp_path, GEARBOX, unit="1")
    job.do("start", operation="clean")
    job.wait(5).do("finish")
    job.do("close", unfinished="enough")
    found = {"finding": "Run dry {twice}", "outcome": outcome, "operation": "seal"}
    job.do("found", complaint="leaks oil", by="Kim", **found)
    job.driver.controller.close()
    first = come_back_proposals(file, job.path)[0]
    assert first["key"] == key
    assert revise(file, job.path, "--accept", str(first["number"])).return_value == 0


def test_only_the_intended_lines_change(file: Path, logs: Path) -> None:
    time = listed(file, logs)["time"]["number"]
    result = revise(file, logs, "--accept", str(time))
    assert "revision B -> C" in result.stdout
    changed = GEARBOX.replace('"B"', '"C"').replace("takes: 5 min", "takes: 14 min")
    text = file.read_text(encoding="utf-8")
    assert text.startswith(changed + "changes:\n")
    assert "check: nothing new, nothing mended" in result.stdout


def test_accepted_proposals_are_not_made_again(file: Path, logs: Path) -> None:
    count = len(json.loads(revise(file, logs, "--list", "--json").stdout)["proposals"])
    revise(file, logs, "--accept", f"1-{count}")
    assert listed(file, logs) == {}
    assert "no reason to change" in revise(file, logs, "--list").stdout


def test_what_a_later_revision_changed_is_not_proposed_by_older_jobs(file: Path, logs: Path) -> None:
    file.write_text(GEARBOX.replace("takes: 5 min", "takes: 6 min").replace("0.10 .. 0.20", "0.10 .. 0.25"))
    assert not {"time", "near-limit"} & set(listed(file, logs))


def test_comment_proposal_comes_again_only_by_jobs_on_the_new_revision(file: Path, logs: Path, tmp_path: Path) -> None:
    remedy = listed(file, logs)["remedy"]["number"]
    revise(file, logs, "--accept", str(remedy))
    newer = done_jobs(tmp_path / "newer", file.read_text(encoding="utf-8"), jobs=5)
    assert "remedy" not in listed(file, logs, *newer)
    more = [done_job(tmp_path / f"more{number}", number, file.read_text(encoding="utf-8")) for number in (6, 7)]
    assert "4 of 7 jobs" in listed(file, logs, *newer, *more)["remedy"]["why"]


def test_set_takes_another_value_and_a_key_in_place_of_a_comment(file: Path, logs: Path) -> None:
    found = listed(file, logs)
    result = revise(
        file, logs,
        "--set", f"{found['time']['number']}=16 min",
        "--set", f"{found['near-limit']['number']}=limit: 0.10 .. 0.22 mm",
        "--set", f"{found['remedy']['number']}=do: Measure first: then fit {{{{it}}}}",
        "--set", f"{found['never-done']['number']}=other words",
    )  # fmt: skip
    assert (result.exception, result.return_value) == (None, 0), result.stderr
    text = file.read_text(encoding="utf-8")
    assert "takes: 16 min     # a guess" in text
    assert "limit: 0.10 .. 0.22 mm, above" in text
    assert 'do: "Measure first: then fit {{it}}", after: clean,' in text
    assert "  # other words [" in text


def test_result_with_errors_is_not_written_unless_the_author_says_so(file: Path, logs: Path) -> None:
    number = listed(file, logs)["time"]["number"]
    result = revise(file, logs, "--set", f"{number}=14 apples")
    assert result.return_value == 1
    assert "nothing was written" in result.stderr
    assert "new: line 19: error:" in result.stderr
    assert file.read_text(encoding="utf-8") == GEARBOX
    assert revise(file, logs, "--set", f"{number}=14 apples", "--with-errors").return_value == 0
    assert "takes: 14 apples" in file.read_text(encoding="utf-8")


def test_open_jobs_on_the_old_revision_are_named(file: Path, logs: Path, tmp_path: Path) -> None:
    sessions = tmp_path / "home" / "data" / "sessions"
    open_job(sessions)
    open_job(tmp_path / "elsewhere", GEARBOX.replace("id: gearbox", "id: other"), unit="job 55")
    result = revise(file, logs, "--accept", "1")
    assert "job 99  revision B" in result.stdout
    assert "job 55" not in result.stdout
    assert "keeps its revision" in result.stdout


def test_file_changed_meanwhile_is_not_written_over_and_nothing_is_lost(
    file: Path, logs: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def changed_meanwhile(before: Any, after: Any) -> Any:
        file.write_text(GEARBOX + "# my own line\n", encoding="utf-8")
        return check_revision(before, after)

    monkeypatch.setattr("benchflow.writing.revisions.accepted_proposals.check_revision", changed_meanwhile)
    result = revise(file, logs, "--accept", "1")
    assert result.exception is not None
    assert "changed by another program" in str(result.exception)
    assert file.read_text(encoding="utf-8") == GEARBOX + "# my own line\n"
    kept = file.with_name("gearbox.revision-C.yaml")
    assert str(kept) in str(result.exception)
    assert 'revision: "C"' in kept.read_text(encoding="utf-8")


def test_read_only_file_is_not_replaced(file: Path, logs: Path) -> None:
    file.chmod(0o444)
    result = revise(file, logs, "--accept", "1")
    assert "read-only" in str(result.exception)
    assert "--accept 1" in str(result.exception)
    assert file.read_text(encoding="utf-8") == GEARBOX


def test_link_stays_a_link_and_its_file_is_revised(file: Path, logs: Path, tmp_path: Path) -> None:
    link = tmp_path / "link.yaml"
    link.symlink_to(file)
    assert revise(link, logs, "--accept", "1").return_value == 0
    assert link.is_symlink()
    assert len(changes_in(file)) == 1


def test_line_ends_byte_order_mark_and_missing_revision(file: Path, logs: Path) -> None:
    text = GEARBOX.replace('revision: "B"\n', "")
    file.write_bytes(("\ufeff" + text.replace("\n", "\r\n")).encode())
    assert revise(file, logs, "--accept", "1").return_value == 0
    data = file.read_bytes()
    assert data.startswith(b"\xef\xbb\xbf# An invented")
    assert data.count(b"\n") == data.count(b"\r\n")
    assert b'title: Gearbox of the trials   # a title with a comment\r\nrevision: "1"\r\n' in data


def test_jobs_by_another_procedure_and_damaged_or_forged_logs_are_named(file: Path, logs: Path, tmp_path: Path) -> None:
    other = done_job(tmp_path / "other", 2, GEARBOX.replace("id: gearbox", "id: other"))
    damaged = done_job(tmp_path / "damaged", 4)
    damaged.write_bytes(damaged.read_bytes().replace(b"0.24 mm", b"0.42 mm"))
    (tmp_path / "no.jsonl").write_text("no log\n")
    result = revise(file, logs, other, damaged, tmp_path / "no.jsonl", "--list", "--json")
    assert result.return_value == 1
    assert "by another procedure" in result.stderr
    assert "damaged: line" in result.stderr
    assert "no.jsonl is left out" in result.stderr
    assert len(json.loads(result.stdout)["jobs"]) == JOBS
    assert revise(file, other, "--list").exception is not None


def test_note_with_control_characters_and_yaml_is_text_in_a_comment(file: Path, tmp_path: Path) -> None:
    job = ClockedJob(tmp_path, GEARBOX, unit="7\n: {x}")
    words = "key: [not, yaml]\n- \x1b]52;c;YQ==\x07 {x} # ' \" | [/] end\r\n...\n---"
    job.do("note", text=words, operation="clean", change=True)
    job.do("note", text="about the whole job", change=True)
    job.driver.controller.close()
    result = revise(file, job.path, "--accept", "1,2")
    assert (result.exception, result.return_value) == (None, 0)
    assert "\x1b" not in result.stdout
    text = file.read_text(encoding="utf-8")
    assert "  # key: [not, yaml] - ]52;c;YQ== {x} # ' \" | [/] end ... --- [Robin, job 7 : {x}, line" in text
    assert "\n# about the whole job [Robin" in text
    assert listed(file, job.path) == {}


def test_procedure_with_an_error_and_a_shipped_one_are_not_revised(file: Path, logs: Path) -> None:
    file.write_text(GEARBOX.replace("after: shim", "after: shimm"))
    assert "shimm" in str(revise(file, logs, "--list").exception)
    assert not [path for path in shipped_procedures() if os.path.samefile(path, file)]


def test_without_a_terminal_the_proposals_are_listed(file: Path, logs: Path) -> None:
    result = revise(file, logs)
    assert "1 of " in result.stdout
    assert "--accept" in result.stderr
    assert file.read_text(encoding="utf-8") == GEARBOX


@pytest.mark.parametrize("arguments", [("--accept", "99"), ("--accept", "x"), ("--set", "1"), ("--set", "99=x")])
def test_numbers_that_are_not_proposals_are_refused(file: Path, logs: Path, arguments: tuple[str, str]) -> None:
    result = revise(file, logs, *arguments)
    assert result.exception is not None
    assert file.read_text(encoding="utf-8") == GEARBOX


def test_forged_log_with_whole_hashes_is_left_out(file: Path, tmp_path: Path) -> None:
    path = done_job(tmp_path / "forged", 4)
    forged = ForgedLog(path)
    forged.event("recorded", 1)["quantity"]["value"] = "0.11"
    path = forged.save()
    result = revise(file, path, done_job(tmp_path / "sound", 2), "--list", "--json")
    assert "fails the audit: line" in result.stderr
    assert result.return_value == 1
    assert [job["unit"] for job in json.loads(result.stdout)["jobs"]] == ["job 2"]


def test_job_with_changes_that_the_file_does_not_have_is_named(file: Path, logs: Path, tmp_path: Path) -> None:
    newer = tmp_path / "newer.yaml"
    newer.write_text(GEARBOX, encoding="utf-8")
    revise(newer, logs, "--accept", "1")
    job = done_job(tmp_path / "job", 2, newer.read_text(encoding="utf-8"))
    assert "job 2 has revision C, with changes that" in revise(file, job, "--list").stderr


def test_figures_of_asked_limits_and_angles_are_filled_in_with_their_source(file: Path, tmp_path: Path) -> None:
    text = GEARBOX.replace("limit: 0.10 .. 0.20 mm, above: [{do: Fit a thicker shim}]", "limit: ask").replace(
        "- {torque: ask}", "- {torque: 20 N·m}\n      - {angle: ask}"
    )
    file.write_text(text, encoding="utf-8")
    jobs = []
    for number in (1, 2):
        (tmp_path / str(number)).mkdir()
        job = ClockedJob(tmp_path / str(number), text, unit=str(number))
        for operation in ("clean", "shim"):
            job.do("start", operation=operation)
            if operation == "clean":
                job.do("finish")
        wrong = job.do("figure", name="play", value=f"0.1 .. 0.{number + 1} mm", **{"from": "p. 3"}).lines[-1].seq
        job.do("correct", event=wrong, value="0.1 .. 0.2 mm", reason="misread", **{"from": "manual p. 3"})
        job.do("record", name="play", value="0.15 mm")
        job.do("finish")
        job.do("start", operation="seal")
        job.do_all({"intent": "tick-check", "check": 1}, {"intent": "tick-check", "check": 2}, {"intent": "finish"})
        job.do("start", operation="close-cover")
        for fastener in range(1, 5):
            job.do("tick", joint="cover", fastener=fastener)
        job.do("figure", joint="cover", stage=2, value="90°", **{"from": f"manual p. {number}"})
        job.driver.controller.close()
        jobs.append(job.path)
    assert revise(file, *jobs, "--accept", "all").return_value == 0
    changed = file.read_text(encoding="utf-8")
    assert "limit: 0.1 .. 0.2 mm, source: manual p. 3}" in changed
    assert "{angle: 90°, source: manual p. 1; manual p. 2}" in changed  # each source is named


def asked_job(folder: Path, text: str, unit: str, figure: str, source: str) -> Path:
    """The log of a job that was given the torque of the cover at the bench."""
    folder.mkdir()
    job = ClockedJob(folder, text.replace("after: seal\n    tighten", "tighten"), unit=unit)
    job.do("start", operation="close-cover")
    job.do("figure", joint="cover", stage=1, value=figure, **{"from": source})
    job.driver.controller.close()
    return job.path


DOCUMENTED = GEARBOX.replace("failures:", 'documents: {manual: {title: Manual, edition: "2"}}\nfailures:')


def test_equal_figures_that_were_typed_in_other_digits_are_one_figure(file: Path, tmp_path: Path) -> None:
    figures = (("24 N·m", "bulletin p. 3"), ("24.0 Nm", "bulletin  p.3"))
    jobs = [asked_job(tmp_path / str(n), GEARBOX, str(n), *each) for n, each in enumerate(figures)]
    found = listed(file, *jobs)["figure"]
    assert (found["action"], found["new"], found["certain"]) == ("set", "24 N·m", True)


def test_figure_of_one_job_is_proposed_if_it_is_from_a_document_and_a_person_looks(file: Path, tmp_path: Path) -> None:
    file.write_text(DOCUMENTED, encoding="utf-8")
    job = asked_job(tmp_path / "1", DOCUMENTED, "1", "24 N·m", "manual p. 51")
    found = listed(file, job)["figure"]
    assert (found["new"], found["certain"]) == ("24 N·m", False)
    assert "Only one job gave it. Compare it with the document." in revise(file, job, "--list").stdout


def test_figure_from_an_old_edition_keeps_that_edition_and_is_looked_up(file: Path, tmp_path: Path) -> None:
    file.write_text(DOCUMENTED.replace('"2"', '"3"'), encoding="utf-8")
    jobs = [asked_job(tmp_path / n, DOCUMENTED, n, "24 N·m", "manual p. 51") for n in ("1", "2")]
    found = listed(file, *jobs)["figure"]
    assert found["certain"] is False
    assert "+      - {torque: 24 N·m, source: manual ed. 2 p. 51}" in found["diff"]
    assert "edition 3 of `manual`, but the figure is from another edition" in revise(file, *jobs, "--list").stdout


def test_key_of_a_figure_that_the_step_does_not_have_is_no_comment(file: Path, logs: Path) -> None:
    result = revise(file, logs, "--set", "1=limit: 0.05 .. 0.25 mm")
    assert "This proposal has no `limit` to change" in str(result.exception)
    assert file.read_text(encoding="utf-8") == GEARBOX


def test_different_figures_given_at_the_bench_are_shown_and_not_written(file: Path, tmp_path: Path) -> None:
    jobs = []
    for number, figure in ((1, "24 N·m"), (2, "26 N·m"), (3, "24 Nm")):
        text = GEARBOX.replace("after: seal\n    tighten", "tighten")
        (tmp_path / str(number)).mkdir()
        job = ClockedJob(tmp_path / str(number), text, unit=str(number))
        job.do("start", operation="close-cover")
        job.do("figure", joint="cover", stage=1, value=figure, **{"from": "bulletin"})
        job.driver.controller.close()
        jobs.append(job.path)
    proposal = listed(file, *jobs)["figure"]
    assert (proposal["action"], proposal["certain"]) == ("comment", False)
    assert "24 N·m (job 1, from bulletin); 26 N·m (job 2, from bulletin)" in proposal["why"]


def test_work_entered_afterwards_does_not_change_the_stated_time(file: Path, tmp_path: Path) -> None:
    jobs = []
    for number, minutes in enumerate((0, 0, 0, 0, 13, 14, 15), 1):
        (tmp_path / str(number)).mkdir()
        job = ClockedJob(tmp_path / str(number), GEARBOX, unit=str(number))
        job.do("start", operation="clean")
        job.wait(minutes).do("finish")
        job.driver.controller.close()
        jobs.append(job.path)
    assert "time" not in listed(file, *jobs[:4])
    found = listed(file, *jobs)["time"]
    assert (found["old"], found["new"]) == ("5 min", "14 min")
    assert "in 3 jobs is 14 min (13 min to 15 min)" in found["why"]
    assert "Left out as too fast for the work: 4 jobs" in found["why"]


def test_on_a_terminal_each_proposal_is_accepted_changed_or_skipped_by_one_key(
    file: Path, logs: Path, tmp_path: Path
) -> None:
    command = ["-m", "benchflow", "revise", str(file), str(logs)]
    with Terminal(command, env={"BENCHFLOW_HOME": str(tmp_path / "home")}) as terminal:
        terminal.wait_for("1 of 12", "a accept")
        terminal.type("a")
        terminal.wait_for("2 of 12")
        terminal.type("c")
        terminal.wait_for("Other words")
        terminal.type("do: Wash {it}\r")
        terminal.wait_for("Not possible: `{it}`")
        terminal.type("do: Wash it\r")
        terminal.wait_for("clean: do added: Wash it", "3 of 12")
        terminal.type("b")
        terminal.wait_for("You changed it: clean: do added: Wash it", "n next")
        terminal.type("n")
        terminal.wait_for("3 of 12")
        terminal.type("s")
        terminal.wait_for("4 of 12")
        terminal.type("w")
        terminal.wait_for("2  clean: do added: Wash it", "Write these into the file?")
        terminal.type("n\r")
        terminal.wait_for("1 of 12", "It is accepted: clean: comment")
        terminal.type("w")
        # the question before is still on the screen, above
        terminal.wait_until(lambda: terminal.text.rstrip().endswith("then Enter:"), "the question at the end")
        terminal.type("y\r")
        assert terminal.wait_end() == 0
    text = file.read_text(encoding="utf-8")
    assert [change.what.split(": ")[1] for change in changes_in(file)] == ["comment", "do added"]
    assert "    do: Wash it\n" in text


def test_quitting_on_a_terminal_writes_nothing(file: Path, logs: Path, tmp_path: Path) -> None:
    command = ["-m", "benchflow", "revise", str(file), str(logs)]
    with Terminal(command, env={"BENCHFLOW_HOME": str(tmp_path / "home")}) as terminal:
        terminal.wait_for("1 of 12", "a accept")
        terminal.type("aq")
        terminal.wait_for("Nothing was written.")
        assert terminal.wait_end() == 0
    assert file.read_text(encoding="utf-8") == GEARBOX


def test_enter_after_a_key_answers_no_question(file: Path, logs: Path, tmp_path: Path) -> None:
    command = ["-m", "benchflow", "revise", str(file), str(logs)]
    with Terminal(command, env={"BENCHFLOW_HOME": str(tmp_path / "home")}) as terminal:
        terminal.wait_for("1 of 12", "One key, no Enter")
        terminal.type("a\r")
        terminal.wait_for("2 of 12")
        terminal.type("c\r")
        terminal.wait_for("Type it, then Enter")
        terminal.type("was a cause\r")
        terminal.wait_for("comment: was a cause", "3 of 12")
        terminal.type("w\r")
        terminal.wait_for("Write these into the file? Type y or n, then Enter")
        terminal.type("n\r")
        terminal.wait_for("1 of 12", "It is accepted")
        terminal.type("q")
        terminal.wait_for("You quit. Nothing was written.")
        assert terminal.wait_end() == 0
    assert file.read_text(encoding="utf-8") == GEARBOX


def test_changed_figure_does_not_keep_the_source_of_the_old_one(file: Path, logs: Path) -> None:
    text = GEARBOX.replace("failures:", "documents: {manual: Manual}\nsource: manual p. 12\nfailures:", 1)
    file.write_text(text, encoding="utf-8")
    number = listed(file, logs)["near-limit"]["number"]
    change = ("--set", f"{number}=limit: 0.08 .. 0.18 mm")
    refused = revise(file, logs, *change)
    assert f"Name the source of the new one: --source {number}=" in str(refused.exception)
    assert file.read_text(encoding="utf-8") == text
    done = revise(file, logs, *change, "--source", f"{number}=own choice, because it binds")
    assert done.return_value == 0
    assert 'source: "own choice, because it binds"' in file.read_text(encoding="utf-8")
    assert "(source: own choice, because it binds)" in done.stdout


ASKED_JOINT = """\
benchflow: 1
id: mini
title: Mini
documents: {book: {title: Book, edition: "1"}}
source: book p. 1
joints:
  cover:
    title: Cover
    thread: M6x1
    lubricant: ask   # as the book says
    layout: ask   # from above
    # all of one length
    count: 3
sections:
- title: A
  operations:
  - id: t
    title: Tighten
    tighten: {joint: cover, stages: [STAGE]}
"""
ASKED_IN_BRACKETS = (
    ASKED_JOINT.partition("  cover:")[0]
    + "  cover: {title: Cover, thread: M6x1, lubricant: ask, layout: ask, count: 3}\n"
    + ASKED_JOINT[ASKED_JOINT.index("sections:") :]
)
WITH_OWN_SOURCE = "{torque: 5 N·m, source: book p. 2}"


def joint_job(folder: Path, text: str) -> Path:
    """The log of a job that was given the lubricant and the tightening order at the bench."""
    job = ClockedJob(folder, text, unit="1")
    job.do("start", operation="t")
    job.do("figure", joint="cover", lubricant="oil", **{"from": "book p. 3"})
    job.do("figure", joint="cover", layout="1 2 / . 3", **{"from": "book p. 3"})
    job.driver.controller.close()
    return job.path


@pytest.mark.parametrize("text", [ASKED_JOINT, ASKED_IN_BRACKETS])
@pytest.mark.parametrize("stage", ["5 N·m", WITH_OWN_SOURCE])
def test_order_and_lubricant_of_a_joint_are_written_with_their_source(
    file: Path, tmp_path: Path, text: str, stage: str
) -> None:
    text = text.replace("STAGE", stage)
    file.write_text(text, encoding="utf-8")
    assert revise(file, joint_job(tmp_path, text), "--accept", "1,2").return_value == 0
    changed = file.read_text(encoding="utf-8")
    joint = read_procedure(changed).joints_by_id["cover"]
    assert (joint.layout, joint.count, joint.lubricant) == (((1, 2), (None, 3)), 3, "oil")
    assert "count:" not in changed
    if stage == WITH_OWN_SOURCE:
        assert joint.source == "book p. 3"
    else:  # a source of the joint would be that of the stage too
        assert joint.source == ""
        assert "# lubricant from: book p. 3" in changed
        assert "# layout from: book p. 3" in changed
    if text.startswith(ASKED_JOINT[:200]) and "{title: Cover," not in text:
        assert "    layout: |   # from above\n      1 2\n      . 3\n    # all of one length\n" in changed


def test_order_with_another_number_of_fasteners_than_the_file_is_not_written(file: Path, tmp_path: Path) -> None:
    text = ASKED_JOINT.replace("STAGE", "5 N·m")
    file.write_text(text.replace("count: 3", "count: 4"), encoding="utf-8")
    result = revise(file, joint_job(tmp_path, text), "--list")
    assert "The joint has 4 fasteners, but the order 1 2 / . 3 has 3" in result.stdout


def test_accept_all_that_accepts_nothing_says_why(file: Path, tmp_path: Path) -> None:
    text = ASKED_JOINT.replace("STAGE", "5 N·m")
    file.write_text(text, encoding="utf-8")
    result = revise(file, joint_job(tmp_path, text), "--accept", "all")
    assert result.return_value == 1
    assert "1: Only one job gave it. Compare it with the document." in result.stderr
    assert file.read_text(encoding="utf-8") == text


def test_corrected_figure_is_proven_by_the_line_of_its_correction(file: Path, tmp_path: Path) -> None:
    file.write_text(DOCUMENTED, encoding="utf-8")
    job = ClockedJob(tmp_path, DOCUMENTED.replace("after: seal\n    tighten", "tighten"), unit="1")
    job.do("start", operation="close-cover")
    values = {"from": "manual p. 5"}
    first = job.do("figure", joint="cover", stage=1, value="22 N·m", **values).lines[-1].seq
    last = job.do("correct", event=first, value="24 N·m", reason="misread", **values).lines[-1].seq
    job.driver.controller.close()
    found = listed(file, job.path)["figure"]
    assert [(each["line"], each["words"]) for each in found["evidence"]] == [(last, "24 N·m from manual p. 5")]


@pytest.mark.parametrize(
    ("options", "words"),
    [(("--accept", "2-1"), "goes backwards"), (("--set", "1=Wash it", "--source", "1=book"), "it has no source")],
)
def test_option_that_would_do_nothing_is_refused(file: Path, logs: Path, options: tuple[str, ...], words: str) -> None:
    assert words in str(revise(file, logs, *options).exception)


def test_answers_are_kept_when_the_result_is_not_written(
    file: Path, logs: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    source = read_procedure_file(file)
    reader = procedure_reader()
    proposals = proposals_for(source, gather_jobs(log_paths((logs,)), source.procedure, reader).jobs)
    keys = iter(["a", "w", "q"])
    monkeypatch.setattr(revise_prompts, "_key", lambda typed: next(keys))
    monkeypatch.setattr(revise_prompts, "confirmed", lambda question: True)
    monkeypatch.setattr(revise_prompts, "write_revision", lambda *_, **__: False)
    monkeypatch.setattr(revise_prompts, "new_errors", lambda *_: ["`x` is wrong"])
    assert revise_prompts.ask_and_write(source, proposals, None, False) == (False, None)
    shown = capsys.readouterr().out
    back = shown.partition("Back to the proposals. Your answers are kept.")[2]
    assert "It is accepted" in back
    assert "Error in the result: `x` is wrong" in back


def test_source_of_a_given_limit_is_kept_beside_the_source_of_the_other_limit(file: Path, tmp_path: Path) -> None:
    old = "limit: 0.10 .. 0.20 mm, above: [{do: Fit a thicker shim}]"
    text = DOCUMENTED.replace(old, "limit: ask, used: at most 0.30 mm, source: manual p. 2")
    file.write_text(text, encoding="utf-8")
    job = ClockedJob(tmp_path, text, unit="1")
    job.do("start", operation="clean")
    job.do("finish")
    job.do("start", operation="shim")
    job.do("figure", name="play", value="0.1 .. 0.2 mm", **{"from": "manual p. 3"})
    job.driver.controller.close()
    number = listed(file, job.path)["figure"]["number"]
    assert "Its source is a comment" in revise(file, job.path, "--list").stdout
    assert revise(file, job.path, "--accept", str(number)).return_value == 0
    changed = file.read_text(encoding="utf-8")
    assert "limit: 0.1 .. 0.2 mm, used: at most 0.30 mm, source: manual p. 2" in changed
    assert "# limit from: manual p. 3\n" in changed


def test_findings_of_the_result_are_wrapped_between_words(
    file: Path, logs: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "50")
    shown = revise(file, logs, "--set", "2=do: Wash {it} in the tank of the cold wash and let it dry before you go on")
    lines = [line for line in shown.stderr.splitlines() if line.startswith("  ")]
    assert len(lines) > 1
    assert all(len(line) <= 50 or len(line.split()) == 1 for line in lines)  # a long path is one word
