"""A cache entry is returned only if it is complete and made from the same source."""

import os
from hashlib import sha256
from pathlib import Path

import pytest
from msgspec import Struct

from benchflow.base.digest_cache import DigestCache


class Sample(Struct):
    words: str


SOURCE, OTHER = sha256(b"source").digest(), sha256(b"other").digest()


@pytest.fixture
def cache(tmp_path: Path) -> DigestCache[Sample]:
    return DigestCache(tmp_path / "new" / "folder", ".sample", Sample, limit=2, mode=0o600)


def test_entry_is_returned_and_its_file_has_the_given_permissions(cache: DigestCache[Sample], tmp_path: Path) -> None:
    cache.put("one", SOURCE, Sample("hello"))
    assert cache.get("one", SOURCE) == Sample("hello")
    assert (tmp_path / "new" / "folder" / "one.sample").stat().st_mode & 0o777 == 0o600


def test_missing_entry_and_entry_of_another_source_read_as_none(cache: DigestCache[Sample]) -> None:
    assert cache.get("one", SOURCE) is None
    cache.put("one", SOURCE, Sample("hello"))
    assert cache.get("one", OTHER) is None


@pytest.mark.parametrize("index", range(32 + 32 + 1))
def test_entry_with_one_changed_byte_reads_as_none(cache: DigestCache[Sample], tmp_path: Path, index: int) -> None:
    cache.put("one", SOURCE, Sample("hello"))
    path = tmp_path / "new" / "folder" / "one.sample"
    data = bytearray(path.read_bytes())
    data[index] ^= 1
    path.write_bytes(data)
    assert cache.get("one", SOURCE) is None


def test_entry_of_another_type_reads_as_none(cache: DigestCache[Sample], tmp_path: Path) -> None:
    DigestCache(tmp_path / "new" / "folder", ".sample", int).put("one", SOURCE, 7)
    assert cache.get("one", SOURCE) is None


def test_least_recently_used_entry_is_deleted(cache: DigestCache[Sample], tmp_path: Path) -> None:
    cache.put("one", SOURCE, Sample("1"))
    cache.put("two", SOURCE, Sample("2"))
    for name, second in (("one", 100), ("two", 200)):
        os.utime(tmp_path / "new" / "folder" / f"{name}.sample", (second, second))
    assert cache.get("one", SOURCE) == Sample("1")  # now used later than "two"
    cache.put("three", SOURCE, Sample("3"))
    assert [name for name in ("one", "two", "three") if cache.get(name, SOURCE)] == ["one", "three"]


def test_unwritable_folder_raises_no_error(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    DigestCache(tmp_path / "file" / "folder", ".sample", Sample).put("one", SOURCE, Sample("1"))
    assert (tmp_path / "file").read_bytes() == b""
