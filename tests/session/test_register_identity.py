"""The register's permanent id, and where the hashes of PINs are and are not."""

import os
from pathlib import Path

import pytest

from benchflow.session.log.disk import Disk
from benchflow.session.shop.live_register import Register
from benchflow.session.shop.register import ShopError, hash_pin, path_id
from benchflow.session.shop.register_reader import load_shop, read_shop
from benchflow.session.shop.register_writer import add_person, change_file, ensure_id
from tests.driving.script import Script

SIGNING = hash_pin("2417", bytes(range(16)))
SHOP = f"""\
# mine
shop: 1   # of the format

people:
  A. Builder: {{roles: [builder]}}
  B. Second: {{roles: [inspector], pin: {SIGNING}}}
"""
PROCEDURE = """\
benchflow: 1
id: short
title: Short
sections:
  - title: All
    operations:
      - id: look
        title: Look at it
        check: [It is clean]
        hold: {by: inspector}
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    file = tmp_path / "shop.yaml"
    file.write_text(SHOP, encoding="utf-8")
    return file


def id_in(path: Path) -> str:
    shop = load_shop(path).shop
    assert shop is not None
    return shop.id


def test_id_is_made_once_and_comments_stay(path: Path) -> None:
    made = ensure_id(path)
    assert len(made) == 32
    assert ensure_id(path) == made
    change_file(path, add_person("D. New", ("builder",)))
    assert id_in(path) == made
    text = path.read_text(encoding="utf-8")
    assert text.startswith("# mine\nshop: 1   # of the format\n")


def test_two_registers_have_different_ids(path: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.yaml"
    other.write_text(SHOP, encoding="utf-8")
    assert ensure_id(path) != ensure_id(other)


def test_register_that_nobody_may_write_is_known_by_its_path(path: Path) -> None:
    path.chmod(0o400)
    assert ensure_id(path) == path_id(path) == ensure_id(path)
    assert path.read_text(encoding="utf-8") == SHOP


@pytest.mark.parametrize("text", ["path-0123", "a b", "x" * 65, "{}"])
def test_text_that_is_not_an_id_is_an_error(text: str) -> None:
    found = read_shop(SHOP.replace("shop: 1", f"shop: 1\nid: {text}"))
    assert found.shop is None


def test_first_real_job_gives_the_register_its_id(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE, shop=SHOP)
    script.do("open", by="A. Builder", unit="7")
    assert script.log()[0]["data"]["register"] == id_in(script.shop) != ""


def test_simulated_job_leaves_the_register_alone(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE, shop=SHOP, simulated=True)
    script.do("open", by="A. Builder", unit="7", at="2026-03-01T10:00:00Z")
    assert script.shop.read_text(encoding="utf-8") == SHOP


def test_job_goes_on_after_its_register_got_an_id(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE, shop=SHOP)
    script.shop.chmod(0o444)
    script.do("open", by="A. Builder", unit="7")
    assert script.log()[0]["data"]["register"] == path_id(script.shop)
    script.shop.chmod(0o600)
    change_file(script.shop, add_person("D. New", ("builder",)))
    script.do("start", operation="look")
    script.do("tick-check", operation="look", check=1)
    script.do("sign", operation="look", by="B. Second", pin="2417")


def test_no_cached_register_has_a_hash(path: Path, tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    cache.mkdir()
    old = cache / "shop-0123456789abcdef.register"
    old.write_text(SIGNING)
    salt = SIGNING.split("$")[4]
    for _ in range(2):  # the second one reads the cache
        register = Register(path, cache)
        shop = register.shop()
        assert shop is not None
        second = shop.people[1]
        assert (bool(second.pin), salt in repr(shop)) == (True, False)
        assert register.pin_fits(second, "2417")
        assert not register.pin_fits(second, "2418")
        assert not register.pin_fits(shop.people[0], "2417")
    assert not old.exists()
    kept = list(cache.iterdir())
    assert len(kept) == 1
    assert salt.encode() not in kept[0].read_bytes()
    assert SIGNING.encode() not in kept[0].read_bytes()
    if os.name == "posix":
        assert kept[0].stat().st_mode & 0o077 == 0


def test_hash_exchanged_under_an_unchanged_time_stamp_counts_at_once(path: Path) -> None:
    register = Register(path)
    shop = register.shop()
    before = path.stat()
    path.write_text(SHOP.replace(SIGNING, hash_pin("9999", bytes(range(16)))), encoding="utf-8")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    again = register.shop()
    assert shop is not None
    assert again is not None
    assert again.sha256 != shop.sha256
    assert not register.pin_fits(shop.people[1], "2417")


def test_lock_file_that_is_a_link_is_not_followed(path: Path, tmp_path: Path) -> None:
    mine = tmp_path / "notes.txt"
    mine.write_text("mine")
    (tmp_path / "shop.yaml.lock").symlink_to(mine)
    with pytest.raises(ShopError):
        change_file(path, add_person("D. New", ("builder",)))
    assert mine.read_text() == "mine"


class UnconfirmedNames(Disk):
    """The disk reports an error after the file got its name."""

    def sync_folder(self, folder: Path) -> None:
        raise OSError(5, "Input/output error")


def test_change_that_the_disk_did_not_confirm_is_told_as_one(path: Path) -> None:
    with pytest.raises(ShopError, match="was changed, but the disk did not confirm") as told:
        change_file(path, add_person("D. New", ("builder",)), disk=UnconfirmedNames())
    assert "Nothing was changed" not in str(told.value)
    assert "D. New" in path.read_text(encoding="utf-8")
