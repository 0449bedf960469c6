"""A file is replaced completely or not at all."""

import os
import stat
from pathlib import Path

import pytest

from benchflow.base.atomic_write import Unconfirmed, atomic_write

pytestmark = pytest.mark.skipif(os.name == "nt", reason="POSIX permissions and links")


def mode_of(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_new_file_has_the_data_and_the_permissions_of_the_umask(tmp_path: Path) -> None:
    plain = tmp_path / "plain"
    plain.touch()
    atomic_write(tmp_path / "file", b"data")
    assert (tmp_path / "file").read_bytes() == b"data"
    assert mode_of(tmp_path / "file") == mode_of(plain)


def test_replaced_file_keeps_its_permissions(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"old")
    path.chmod(0o640)
    atomic_write(path, b"new")
    assert (path.read_bytes(), mode_of(path)) == (b"new", 0o640)


def test_mode_parameter_sets_the_permissions(tmp_path: Path) -> None:
    atomic_write(tmp_path / "file", b"secret", mode=0o600)
    assert mode_of(tmp_path / "file") == 0o600


def test_symbolic_link_is_replaced_and_its_target_is_unchanged(tmp_path: Path) -> None:
    target = tmp_path / "target"
    target.write_bytes(b"old")
    link = tmp_path / "link"
    link.symlink_to(target)
    atomic_write(link, b"new")
    assert not link.is_symlink()
    assert (link.read_bytes(), target.read_bytes()) == (b"new", b"old")


def full_disk(fd: int) -> None:
    raise OSError(28, "No space left on device")


def full_folder(folder: Path) -> None:
    raise OSError(28, "No space left on device")


def changed_meanwhile() -> None:
    raise ValueError("changed by another program")


def test_failed_sync_leaves_the_old_file_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"old")
    with pytest.raises(OSError, match="No space left"):
        atomic_write(path, b"new", sync=full_disk)
    assert [(each.name, each.read_bytes()) for each in tmp_path.iterdir()] == [("file", b"old")]


def test_failed_check_before_replacing_leaves_the_old_file_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"old")
    with pytest.raises(ValueError, match="another program"):
        atomic_write(path, b"new", before_replace=changed_meanwhile)
    assert [(each.name, each.read_bytes()) for each in tmp_path.iterdir()] == [("file", b"old")]


def test_file_is_synced_before_and_folder_after_the_rename(tmp_path: Path) -> None:
    path = tmp_path / "file"
    steps: list[str] = []
    atomic_write(
        path,
        b"new",
        sync=lambda fd: steps.append(f"file, {os.fstat(fd).st_size} bytes, renamed: {path.exists()}"),
        sync_names=lambda folder: steps.append(f"{folder.name}, renamed: {path.exists()}"),
    )
    assert steps == ["file, 3 bytes, renamed: False", f"{tmp_path.name}, renamed: True"]


def test_not_durable_write_skips_both_syncs(tmp_path: Path) -> None:
    atomic_write(tmp_path / "file", b"new", durable=False, sync=full_disk)
    assert (tmp_path / "file").read_bytes() == b"new"


def test_real_syncs_succeed_on_a_real_folder(tmp_path: Path) -> None:
    atomic_write(tmp_path / ("ü" * 100), b"new")
    assert (tmp_path / ("ü" * 100)).read_bytes() == b"new"


def test_failed_sync_of_the_folder_tells_that_the_file_was_replaced(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"old")
    with pytest.raises(Unconfirmed, match="No space left"):
        atomic_write(path, b"new", sync_names=full_folder)
    assert [(each.name, each.read_bytes()) for each in tmp_path.iterdir()] == [("file", b"new")]
