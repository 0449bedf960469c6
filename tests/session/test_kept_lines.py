"""The lines of an open log, kept as bytes."""

from pathlib import Path

from benchflow.session.log.journal import Journal
from benchflow.session.log.kept_lines import KeptLines
from benchflow.session.log.line_format import read
from tests.driving.log_files import note_draft, write_log


def lines_of(folder: Path, count: int) -> tuple[bytes, KeptLines]:
    content = write_log(folder / "log.jsonl", count)
    return content, KeptLines(content)


def test_kept_lines_are_a_sequence_of_the_lines(tmp_path: Path) -> None:
    content, kept = lines_of(tmp_path, 5)
    lines = read(content).lines
    assert kept == lines
    assert list(kept) == list(kept) == lines
    assert (kept[0], kept[-1], kept[1:4], kept[-2:]) == (lines[0], lines[-1], lines[1:4], lines[-2:])
    assert list(reversed(kept)) == lines[::-1]
    assert kept != lines[:-1]
    assert kept.content == content


def test_lines_can_be_added_in_any_pieces(tmp_path: Path) -> None:
    content, whole = lines_of(tmp_path, 3)
    second = content.index(b"\n") + 1
    kept = KeptLines()
    assert not kept
    kept.add(content[: second - 1])
    assert len(kept) == 1
    kept.add(b"\n")
    assert len(kept) == 1
    kept.add(content[second:-1])
    kept.add(b"\n")
    assert kept == whole
    assert kept.content == content


def test_decoded_lines_are_used_once(tmp_path: Path) -> None:
    content, _ = lines_of(tmp_path, 2)
    lines = read(content).lines
    kept = KeptLines(content, lines)
    assert next(iter(kept)) is lines[0]
    assert next(iter(kept)) is not lines[0]
    assert kept == lines


def test_line_with_any_character_is_decoded_again(tmp_path: Path) -> None:
    deep: dict[str, object] = {"x": 1}
    for _ in range(9):
        deep = {"deeper": deep}
    with Journal.create(tmp_path / "log.jsonl") as journal:
        shown = journal.append([note_draft(1, clef="𝄞 µ é", deep=deep)])
        assert tuple(journal.lines) == shown
