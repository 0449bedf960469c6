"""The commands `attach` and `verify` on real files. Names and figures are invented."""

import json
from pathlib import Path

import pytest

from benchflow.session.pictures.stored_pictures import pictures_folder
from tests.driving.made_pictures import jpeg_at
from tests.test_cli import OPEN, Shell


@pytest.fixture
def shell(tmp_path: Path) -> Shell:
    shell = Shell(tmp_path)
    shell.drive("job.jsonl", OPEN, {"intent": "start", "operation": "seal"})
    jpeg_at(tmp_path / "IMG_1.jpg", shade=1)
    jpeg_at(tmp_path / "IMG_2.jpg", shade=2)
    return shell


def test_pictures_are_attached_and_a_wrong_file_does_not_stop_the_others(shell: Shell) -> None:
    code, output, errors = shell.run(
        "attach", "job.jsonl", "IMG_1.jpg", "gone.jpg", "IMG_2.jpg", "--fastener", "studs[3]", "--text", "Thread"
    )
    assert code == 1
    assert "There is no file gone.jpg" in errors
    first, second = output.splitlines()
    assert first.startswith("Event 4: Picture of Studs, fastener 3 attached: Thread (IMG_1.jpg, JPEG, 64 × 48 pixels")
    assert second.startswith("Event 5: ")  # the log was opened once
    assert "IMG_2.jpg" in second


def test_a_step_is_named_by_its_number_and_the_answer_is_json(shell: Shell) -> None:
    code, output, errors = shell.run("attach", "job.jsonl", "IMG_1.jpg", "--operation", "2", "--json")
    assert (code, errors) == (0, "")
    answer = json.loads(output)
    assert (answer["attached"], answer["operation"], answer["name"]) == (True, "lower", "IMG_1.jpg")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ([], "Name a picture"),
        (["IMG_1.jpg", "--value", "gap", "--note", "3"], "one of --value and --note"),
        (["--withdraw", "4"], "needs --reason"),
    ],
)
def test_a_wrong_call_says_what_to_give(shell: Shell, options: list[str], words: str) -> None:
    code, _, errors = shell.run("attach", "job.jsonl", *options)
    assert code == 2
    assert words in errors


def test_missing_and_changed_pictures_are_named_and_only_files_that_no_event_names_removed(shell: Shell) -> None:
    shell.run("attach", "job.jsonl", "IMG_1.jpg", "IMG_2.jpg")
    code, output, _ = shell.run("verify", "job.jsonl")
    assert code == 0
    assert "2 pictures are as stored." in output
    folder = pictures_folder(shell.folder / "job.jsonl")
    events = [json.loads(line) for line in (shell.folder / "job.jsonl").read_text().splitlines()]
    one, two = (event for event in events if event["kind"] == "attached")
    (folder / f"{one['data']['sha256']}.jpg").unlink()
    changed = folder / f"{two['data']['sha256']}.jpg"
    changed.write_bytes(changed.read_bytes()[:-1] + b"x")
    orphan = folder / f"{'0' * 64}.jpg"
    orphan.touch()
    code, output, _ = shell.run("verify", "job.jsonl", "--json")
    found = json.loads(output)
    assert (code, found["ok"], found["pictures"]) == (1, False, 2)
    assert [(each["line"], each["what"], each["name"]) for each in found["picture_problems"]] == [
        (one["seq"], "missing", "IMG_1.jpg"),
        (two["seq"], "changed", "IMG_2.jpg"),
    ]
    assert orphan.exists()
    code, output, _ = shell.run("verify", "job.jsonl", "--clean")
    assert code == 1
    assert f"job.jsonl:{one['seq']}: PICTURE MISSING: IMG_1.jpg." in output
    assert "Removed" in output
    assert not orphan.exists()
    assert changed.exists()
    code, _, errors = shell.run("sheet", "job.jsonl", "-o", "sheet.html")
    assert code == 1
    assert "2 stored pictures are missing, changed or unreadable. First: IMG_1.jpg." in errors
    lines = (shell.folder / "job.jsonl").read_text().splitlines(keepends=True)
    lines[two["seq"] - 1] = "{" + lines[two["seq"] - 1].replace("{", "", 1).replace('"attached"', '"attacked"')
    (shell.folder / "job.jsonl").write_text("".join(lines))
    code, output, _ = shell.run("verify", "job.jsonl")
    assert code == 1
    assert f"names the file {changed.relative_to(shell.folder)}. A damaged one can: keep it." in output
    assert "--clean" not in output
