"""Random intents on a teardown: the record in memory is the one that the log gives, and a refusal changes nothing."""

from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.session.log.journal import Journal
from benchflow.session.log.log_check import verify
from benchflow.session.refusal import Refusal
from benchflow.session.teardown.fold_teardown import load_teardown
from benchflow.session.teardown.teardown_controller import TeardownController
from benchflow.session.teardown.teardown_history import teardown_text
from tests.driving.failing_disk import FailingDisk
from tests.driving.teardown_script import OPEN, SKIP_REST, TeardownScript

LINES = st.sampled_from(["", "1", "1a", "2", "3", "0", "9", "x", "1b"])
PLACES = st.sampled_from(["", "1", "2", "left", "cylinder 9"])
WORDS = st.sampled_from(["", "pitted", "a, b", "[red]", "=x", "0,1"])
TEXTS = st.sampled_from(
    [
        "cover, bag 1",
        "rod caps 1..2, replace: worn",
        "gear, end float 0.2 mm",
        "bad, 8x M6 30",
        "",
        "shaft, swarf",
        "2 dowels",
    ]
)


def intents() -> st.SearchStrategy[dict[str, Any]]:
    def of(intent: str, /, **fields: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
        return st.fixed_dictionaries({"intent": st.just(intent), **fields})

    return st.one_of(
        of("off", text=TEXTS), of("off", text=TEXTS, after=LINES),
        of("off", what=WORDS, places=st.lists(PLACES, max_size=3)),
        of("edit", line=LINES, text=TEXTS), of("edit", line=LINES, container=WORDS), of("add", line=LINES, text=TEXTS),
        of("split", line=LINES, into=st.lists(TEXTS, max_size=3)), of("put-back", line=LINES),
        of("off-again", line=LINES),
        of("fate", line=LINES, place=PLACES, fate=st.sampled_from(["replace", "machine", "x"]), reason=WORDS),
        of("found", line=LINES, place=PLACES, kind=st.sampled_from(["broken", "other", "y"]), text=WORDS),
        of("partner", line=LINES, place=PLACES, partner=WORDS), of("note", line=LINES, text=WORDS),
        of("state", text=WORDS),
        of("measure", name=WORDS, value=st.sampled_from(["0.1 mm", "0,1 mm", "3", ""]), line=LINES, place=PLACES),
        of("add-check", name=WORDS), of("skip", reason=WORDS), of("undo"), of("undo"), of("close", reason=WORDS),
        of("status"), of("understand", text=TEXTS),
    )  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(sent=st.lists(intents(), max_size=25))
def test_record_is_that_of_the_log_after_any_intents(tmp_path_factory: Any, sent: list[dict[str, Any]]) -> None:
    log: Path = tmp_path_factory.mktemp("teardown") / "t.jsonl"
    controller = TeardownController.open(log)
    controller.send(OPEN)
    controller.send(SKIP_REST)
    for message in sent:
        before = controller.record
        answer = controller.send(message)
        if isinstance(answer, Refusal):
            assert controller.record == before
        assert controller.record == load_teardown(log)
    record = controller.record
    assert record is not None
    ids = [line.id for line in record.lines]
    assert len(set(ids)) == len(ids)
    assert all(line.parts for line in record.lines)
    controller.close()
    assert verify(log).damage is None
    with Journal.open(log, read_only=True) as journal:
        assert "Event that this version cannot read" not in "\n".join(teardown_text(journal.lines))


def test_entry_is_refused_if_the_disk_is_full_and_accepted_later(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path).begin()
    controller = TeardownController.open(script.path)
    disk = FailingDisk()
    controller.journal._disk = disk
    disk.failing = {"write"}
    answer = controller.send({"intent": "off", "text": "cover"})
    assert isinstance(answer, Refusal)
    assert answer.refused[0].code == "not-saved"
    assert controller.record == load_teardown(script.path)
    disk.failing = set()
    assert not isinstance(controller.send({"intent": "off", "text": "cover"}), Refusal)
    controller.move_to(tmp_path / ".")
    controller.send({"intent": "off", "text": "gear"})
    moved = controller.journal.path
    controller.close()
    assert [line.description.what for line in load_teardown(moved).lines] == ["cover", "gear"]


def test_forged_events_do_not_stop_the_reading(tmp_path: Path) -> None:
    """Lines with whole hashes, but with events that no program writes."""
    from benchflow.session.log.line_format import Draft

    script = TeardownScript(tmp_path).begin().off("cover")
    forged: list[tuple[str, dict[str, Any]]] = [
        ("undone", {"event": 99, "what": "x"}), ("off-again", {"line": "1"}), ("line-corrected", {
            "line": "7", "description": {"what": "x"}, "before": {"what": "y"}}),
        ("line-split", {"line": "7", "lines": ["7", "8"], "descriptions": [], "before": {"what": "y"}}),
        ("fate", {"line": "7", "fate": "replace"}),
        ("came-off", {"line": "1", "description": {"what": "z"}, "after": "44"}),
    ]  # fmt: skip
    before = script.record.events
    with Journal.open(script.path) as journal:
        journal.append([Draft("2026-03-01T08:00:00.000Z", "Eve", kind, data) for kind, data in forged])
        text = "\n".join(teardown_text(journal.lines))
    assert "Line 7: replace" in text
    assert load_teardown(script.path).events == before + len(forged)
