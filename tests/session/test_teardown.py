"""A teardown by intents: its record, its refusals, its log."""

from contextlib import closing
from hashlib import sha256
from pathlib import Path

import pytest

from benchflow.base.errors import BenchflowError
from benchflow.session.catalog import summarize_log
from benchflow.session.head_memory import HeadMemory
from benchflow.session.log.journal import Journal
from benchflow.session.log.line_format import read
from benchflow.session.log.log_check import verify
from benchflow.session.pictures.picture_check import check_pictures
from benchflow.session.teardown.fold_teardown import NoTeardown, load_teardown
from benchflow.session.teardown.teardown_controller import TeardownController
from benchflow.session.teardown.teardown_history import teardown_text
from benchflow.tui.teardown.teardown_app import opening_message
from benchflow.tui.teardown.teardown_client import TeardownClient
from tests.driving.made_pictures import jpeg_at
from tests.driving.script import intent
from tests.driving.teardown_script import OPEN, SKIP_REST, TeardownScript


@pytest.fixture
def script(tmp_path: Path) -> TeardownScript:
    return TeardownScript(tmp_path).begin()


def test_record_has_what_came_off_in_order(script: TeardownScript) -> None:
    script.off("rocker cover, 8x M6x1 30 mm, bag 3", "rod caps 1..4, 8x nut M9x1, tray A, replace: pitted")
    cover, caps = script.record.lines
    assert (cover.id, cover.description.what, cover.description.container) == ("1", "rocker cover", "bag 3")
    (bolts,) = cover.description.fasteners
    assert (bolts.count, bolts.thread, bolts.length and bolts.length.value) == (8, "M6x1", "30")
    assert [(part.place, part.fate) for part in caps.parts] == [(str(n), "replace") for n in range(1, 5)]


def test_first_line_waits_for_what_is_measured_together(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path)
    script.send(OPEN)
    assert script.refused("off", text="cover") == ["value-missing"]
    script.do("measure", name="end float", value="0.12 mm", place="input shaft")
    assert script.refused("measure", name="end float", value="0.12 N·m") == ["wrong-dimension"]
    script.send(SKIP_REST)
    script.do("off", text="cover")
    record = script.record
    (reading,) = record.together
    assert (reading.name, reading.place, reading.lines_off) == ("end float", "input shaft", 0)
    assert [item.name for item in record.checklist if item.answered] == ["end float"]


def test_value_replaces_the_earlier_one_but_words_are_added(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path)
    script.send(OPEN)
    for fields in ({"value": "0.1 mm"}, {"value": "0.2 mm"}, {"answer": "stiff"}, {"answer": "stiff when cold"}):
        script.do("measure", name="lash", **fields)
    assert script.refused("measure", name="lash", answer="Stiff") == ["already-done"]
    assert script.refused("measure", name="end float", answer="none", instead=True) == ["unknown-name"]
    script.do("measure", name="lash", answer="stiff at 20 °C", instead=True)
    shown = [each.answer or (each.value and each.value.value) for each in script.record.answers("lash")]
    assert shown == ["0.2", "stiff", "stiff at 20 °C"]


def test_reading_with_more_parts_off_replaces_none_of_the_whole(script: TeardownScript) -> None:
    script.do("measure", name="end float", value="0.12 mm")
    script.off("cover")
    script.do("measure", name="end float", value="0.30 mm")
    assert [each.lines_off for each in script.record.answers("end float")] == [0, 1]


def test_log_has_the_name_of_a_picture_without_its_folder(script: TeardownScript, tmp_path: Path) -> None:
    (tmp_path / "phone").mkdir()
    picture = jpeg_at(tmp_path / "phone" / "dots.jpg")
    script.do("attach", file=str(picture))
    (kept,) = script.record.pictures
    assert kept.name == "dots.jpg"
    assert str(tmp_path) not in script.path.read_text()


def test_intents_before_open_and_a_second_open_are_refused(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path)
    assert script.refused("off", text="cover") == ["not-open"]
    assert script.refused("open", by="Robin") == ["value-missing", "value-missing"]
    script.send(OPEN)
    assert script.refused("open", by="Kim", unit="1", what="pump") == ["already-open"]


def test_wrong_entries_are_refused_with_their_codes(script: TeardownScript) -> None:
    assert script.refused("off", text="cover, 8x M6x1 30") == ["bad-quantity"]
    assert script.refused("off", text="cover, M6x1 30 mm") == ["value-missing"]
    assert script.refused("off", text="8x M6x1 30 mm, bag 3") == ["value-missing"]
    assert script.refused("off", what="cover", fasteners=[{"count": 8, "length": "3 N·m"}]) == ["wrong-dimension"]
    assert script.refused("fate", fate="replace") == ["unknown-name"]
    script.off("cover")
    assert script.refused("fate", fate="replaced") == ["unknown-name"]
    assert script.refused("fate", fate="replace", place="cylinder 2") == ["unknown-name"]
    assert script.refused("fate", fate="replace", line="7") == ["unknown-name"]
    assert script.refused("off-again", line="1") == ["already-done"]
    assert script.refused("found", kind="other") == ["value-missing"]
    assert script.refused("wobble") == ["unknown-name"]
    assert script.record.lines[0].description.what == "cover"


def test_correction_keeps_the_old_words(script: TeardownScript) -> None:
    script.off("rocker cover, 8x M6x1 30 mm, bag 3, replace")
    script.do("edit", line="1", text="rocker cover, 7x M6x1 30 mm, bag 3", reason="Counted again")
    (line,) = script.record.lines
    assert line.description.fasteners[0].count == 7
    assert line.parts[0].fate == ""  # the corrected words do not say it any more
    (old,) = line.earlier
    assert (old.description.fasteners[0].count, old.reason) == (8, "Counted again")


def test_edit_by_fields_changes_only_those(script: TeardownScript) -> None:
    script.off("rocker cover, 8x M6x1 30 mm, bag 3")
    script.do("fate", fate="machine", reason="warped")
    script.do("edit", container="bag 4")
    (line,) = script.record.lines
    assert (line.description.container, line.description.fasteners[0].count) == ("bag 4", 8)
    assert line.parts[0].fate == "machine"
    assert script.refused("edit", container="bag 4") == ["already-done"]


def test_forgotten_line_is_inserted_between_two(script: TeardownScript) -> None:
    script.off("cover", "gear", "shaft")
    script.do("off", text="circlip", after="1")
    script.do("off", text="breather", after="0")
    assert [(line.id, line.description.what) for line in script.record.lines] == [
        ("0a", "breather"), ("1", "cover"), ("1a", "circlip"), ("2", "gear"), ("3", "shaft"),
    ]  # fmt: skip
    assert script.do("off", text="housing")["line"] == "4"


def test_line_is_split_and_the_split_is_undone(script: TeardownScript) -> None:
    script.off("washer and bearing, bag 4", "shaft")
    script.do("split", line="1", into=["thrust washer, bag 4", "needle bearing, bag 5"])
    assert [(line.id, line.description.container) for line in script.record.lines] == [
        ("1", "bag 4"), ("1a", "bag 5"), ("2", ""),
    ]  # fmt: skip
    script.do("undo")
    script.do("undo")
    record = script.record
    assert [line.description.what for line in record.lines] == ["washer and bearing"]
    assert record.undone == 2
    script.off("shaft again")
    assert [line.id for line in script.record.lines] == ["1", "2"]


def test_part_is_put_back_and_comes_off_again(script: TeardownScript) -> None:
    script.off("flywheel cover", "flywheel")
    script.do("put-back", line="1", reason="To hold the ring gear")
    assert script.refused("put-back", line="1") == ["already-done"]
    assert [line.is_off for line in script.record.lines] == [False, True]
    assert script.refused("close") == ["temporary-left"]
    script.off("nut")
    script.do("off-again", line="1")
    (back,) = script.record.lines[0].put_backs
    assert (back.after, back.off_again_after, back.reason) == ("2", "3", "To hold the ring gear")


def test_closed_teardown_takes_only_fates_findings_and_readings(script: TeardownScript) -> None:
    script.off("block")
    script.do("close")
    assert script.refused("off", text="plug") == ["not-allowed"]
    assert script.refused("undo") == ["not-allowed"]
    script.do("measure", line="1", name="bore", value="80.02 mm", place="cylinder 1")
    script.do("fate", line="1", fate="machine", reason="rebore")
    assert script.record.closed


def test_simulated_teardown_takes_its_times_from_the_intents(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path, simulated=True)
    script.begin()
    assert script.record.opened_at == "2026-03-01T08:01:00.000Z"
    real = TeardownScript(tmp_path / "..")
    real.path = tmp_path / "real.jsonl"
    (reply,) = real.send({**OPEN, "at": "2026-03-01T08:00:00Z"})
    assert reply["refused"][0]["code"] == "not-allowed"


def test_log_is_a_hash_chain_and_is_continued_after_a_torn_line(script: TeardownScript) -> None:
    script.off("cover")
    assert verify(script.path).damage is None
    whole = script.path.read_bytes()
    script.path.write_bytes(whole[:-20])  # power loss in the last line
    assert script.do("off", text="cover again")["line"] == "1"
    assert [line.description.what for line in script.record.lines] == ["cover again"]
    assert list(script.path.parent.glob("*.torn-1"))


def test_log_of_another_kind_is_refused(tmp_path: Path, script: TeardownScript) -> None:
    other = tmp_path / "other.jsonl"
    other.write_text("not a log\n")
    with pytest.raises(NoTeardown):
        load_teardown(other)
    assert other.read_text() == "not a log\n"


def test_control_characters_never_reach_the_log(script: TeardownScript) -> None:
    script.send(intent("off", what="co\x1b[31mver", fasteners=[{"count": 2, "where": "a\x07b"}]))
    (line,) = script.record.lines
    assert (line.description.what, line.description.fasteners[0].where) == ("co[31mver", "ab")


def test_damaged_log_says_how_to_go_on_and_is_continued_with_its_whole_lines(
    script: TeardownScript, tmp_path: Path
) -> None:
    script.off("cover", "shaft", "pump")
    lines = script.path.read_bytes().splitlines(keepends=True)
    damaged = b"".join([*lines[:-2], lines[-2].replace(b"shaft", b"shift"), lines[-1]])
    script.path.write_bytes(damaged)
    (reply,) = script.send(intent("off", text="gear"))
    assert "benchflow teardown --continue-from" in reply["refused"][0]["message"]
    new = tmp_path / "new.jsonl"
    with closing(TeardownController.continue_from(script.path, new)) as controller:
        told = opening_message(TeardownClient(controller))
    assert "4 events kept, 1 readable but not trusted" in told
    assert script.path.read_bytes() == damaged
    assert verify(new).damage is None
    record = load_teardown(new)
    assert [line.description.what for line in record.lines] == ["cover"]
    assert "Continued from teardown.jsonl: line " in record.notes[0].text
    with Journal.open(new, read_only=True) as journal:
        assert "continued from teardown.jsonl" in "\n".join(teardown_text(journal.lines))
    with pytest.raises(BenchflowError, match="is not damaged"):
        TeardownController.continue_from(new, tmp_path / "again.jsonl")
    with pytest.raises(BenchflowError, match="already exists"):
        TeardownController.continue_from(script.path, new)


def test_continued_teardown_is_a_log_of_its_own_and_no_fork(script: TeardownScript, tmp_path: Path) -> None:
    script.off("cover", "shaft", "pump")
    picture = jpeg_at(tmp_path / "cover.jpg")
    script.do("attach", file=str(picture), line="1")
    script.off("gear")
    memory = HeadMemory(tmp_path / "heads.jsonl")
    memory.remember(read(script.path.read_bytes()).lines, script.path, "2026-03-01T09:00:00.000Z")
    opened_at = script.record.opened_at
    lines = script.path.read_bytes().splitlines(keepends=True)
    script.path.write_bytes(b"".join([*lines[:-1], lines[-1].replace(b"gear", b"gaar")]))
    new = tmp_path / "new.jsonl"
    TeardownController.continue_from(script.path, new).close()
    for _ in range(2):  # each time it is opened
        again = TeardownController.open(new)
        again.memory = memory
        assert again.remembered() == ""
        again.send(intent("off", text="bearing"))
        again.close()
    record = load_teardown(new)
    assert record.opened_at == opened_at
    assert [line.description.what for line in record.lines] == ["cover", "shaft", "pump", "bearing", "bearing"]
    assert check_pictures(new).problems == ()
    summary = summarize_log(new)
    assert summary.continues == sha256(script.path.read_bytes()).hexdigest()
    assert summary.opened_at == opened_at


def test_pictures_follow_a_teardown_to_another_folder(script: TeardownScript, tmp_path: Path) -> None:
    script.do("attach", file=str(jpeg_at(tmp_path / "whole.jpg")))
    controller = TeardownController.open(script.path)
    (tmp_path / "stick").mkdir()
    controller.move_to(tmp_path / "stick")
    controller.close()
    assert check_pictures(tmp_path / "stick" / script.path.name).problems == ()
