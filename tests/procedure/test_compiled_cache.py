"""The compiled form never changes the result of loading a procedure."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from benchflow.base.errors import BenchflowError
from benchflow.procedure.compiled_cache import KEPT, Loaded, load, read_text

GOOD = Path(__file__).parent / "good" / "every-key.yaml"
BAD = Path(__file__).parent / "bad"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "not" / "there" / "yet"


def _compiled(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.procedure"))


def test_compiled_form_gives_the_same_procedure(folder: Path) -> None:
    first, second = load(GOOD, folder), load(GOOD, folder)
    assert first.procedure is not None
    assert second == first
    assert len(_compiled(folder)) == 1


def test_compiled_forms_of_all_shipped_procedures_are_equal(folder: Path) -> None:
    for path in sorted((Path(__file__).parents[2] / "procedures").glob("*.yaml")):
        assert load(path, folder).procedure == load(path, folder).procedure == load(path).procedure


def test_nothing_is_written_without_a_cache_folder(tmp_path: Path) -> None:
    copy = tmp_path / "copy.yaml"
    copy.write_bytes(GOOD.read_bytes())
    load(copy)
    assert [path.name for path in tmp_path.iterdir()] == ["copy.yaml"]


def test_changed_text_is_read_again(tmp_path: Path, folder: Path) -> None:
    copy = tmp_path / "copy.yaml"
    copy.write_bytes(GOOD.read_bytes())
    load(copy, folder)
    copy.write_text(GOOD.read_text("utf-8").replace("Every key there is", "Another title"), "utf-8")
    changed = load(copy, folder)
    assert changed.procedure is not None
    assert changed.procedure.title == "Another title"


@pytest.mark.parametrize("damage", ["cut", "bit", "empty", "other"])
def test_damaged_compiled_form_is_ignored_and_rewritten(folder: Path, damage: str) -> None:
    whole = load(GOOD, folder)
    path = _compiled(folder)[0]
    data = path.read_bytes()
    middle = data.index(b"Every key there is")
    bad = {"cut": data[:-9], "bit": data[:middle] + b"F" + data[middle + 1 :], "empty": b"", "other": b"x" * 99}[damage]
    path.write_bytes(bad)
    assert load(GOOD, folder) == whole
    assert path.read_bytes() == data


def test_compiled_form_of_another_reader_version_is_ignored(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    load(GOOD, folder)
    monkeypatch.setattr("benchflow.procedure.compiled_cache._reader_fingerprint", lambda: "another")
    load(GOOD, folder)
    assert len(_compiled(folder)) == 2


def test_errors_are_reported_on_every_load(folder: Path) -> None:
    first, second = load(BAD / "unknown-key.yaml", folder), load(BAD / "unknown-key.yaml", folder)
    assert first.procedure is None
    assert [problem.code for problem in second.problems] == ["unknown-key"]
    assert not folder.exists()


def test_warnings_are_kept_in_the_compiled_form(folder: Path) -> None:
    first, second = load(BAD / "unit-missing.yaml", folder), load(BAD / "unit-missing.yaml", folder)
    assert [problem.code for problem in first.problems] == ["missing-unit"]
    assert second == first


def test_cache_folder_that_cannot_be_written_is_not_an_error(tmp_path: Path) -> None:
    in_the_way = tmp_path / "file"
    in_the_way.write_text("not a folder")
    assert load(GOOD, in_the_way / "cache").procedure is not None


def test_number_of_compiled_forms_is_limited(folder: Path) -> None:
    folder.mkdir(parents=True)
    for number in range(KEPT + 5):
        old = folder / f"{number}.procedure"
        old.write_bytes(b"old")
        os.utime(old, (number, number))
    load(GOOD, folder)
    assert len(_compiled(folder)) == KEPT
    assert load(GOOD, folder).procedure is not None


def test_missing_file_gives_a_clear_error(tmp_path: Path) -> None:
    with pytest.raises(BenchflowError, match=r"gone\.yaml cannot be read: No such file"):
        load(tmp_path / "gone.yaml")


def test_file_that_is_not_text_is_reported(tmp_path: Path) -> None:
    path = tmp_path / "photo.yaml"
    path.write_bytes(b"\x89PNG\xff\xfe")
    loaded = load(path)
    assert (loaded.procedure, [problem.code for problem in loaded.problems]) == (None, ["not-utf-8"])


def test_sha256_is_the_hash_of_the_text_in_the_log() -> None:
    loaded = read_text(GOOD.read_text("utf-8"))
    assert isinstance(loaded, Loaded)
    assert loaded.procedure is not None
    assert read_text(loaded.text).sha256 == loaded.sha256


def test_loading_a_compiled_form_imports_neither_yaml_nor_pint(folder: Path) -> None:
    """Importing them would delay the first paint by a quarter of a second."""
    load(GOOD, folder)
    script = (
        "import sys; from pathlib import Path\n"
        "from benchflow.procedure.compiled_cache import load\n"
        "from benchflow.procedure.expand import expand\n"
        "loaded = load(Path(sys.argv[1]), Path(sys.argv[2]))\n"
        "expand(loaded.procedure, {'cams': 'reground'})\n"
        "print([name for name in ('ruamel', 'pint', 'scipy', 'networkx', 'uncertainties') if name in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(GOOD), str(folder)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
