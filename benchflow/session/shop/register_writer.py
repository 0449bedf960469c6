"""Changes to the shop file that keep its comments, order and layout.

A change is a pure function from text to text; its result is parsed before anything is written. Saving replaces the
file atomically, and only if nobody else has changed it since it was read.
"""

import io
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

from benchflow.base.atomic_write import atomic_write
from benchflow.session.log import lock
from benchflow.session.log.disk import Disk
from benchflow.session.shop.register import Shop, ShopError
from benchflow.session.shop.register_reader import read_shop

Change = Callable[[Any], None]
"""Changes the tree of the file (ruamel's round-trip mapping) in place; may raise :class:`ShopError`."""

EMPTY = "shop: 1\npeople: {}\ninstruments: {}\n"
"""The text of a new register."""


def changed(text: str, *changes: Change) -> str:
    """``text`` with ``changes`` made.

    Raises:
        ShopError: the file before or after the change cannot be read, or a change is not possible.
    """
    _checked(text, "The shop file has errors; correct them first")
    from ruamel.yaml import YAML  # late: only a change of the register needs it

    yaml = YAML(typ="rt", pure=True)
    yaml.preserve_quotes = True
    yaml.width = 200
    # The checked reader refuses aliases, tags and directives, so this loader never sees any.
    tree = yaml.load(text) or yaml.load(EMPTY)
    for change in changes:
        change(tree)
    out = io.StringIO()
    yaml.dump(tree, out)
    _checked(out.getvalue(), "The change would make the shop file unreadable")
    return out.getvalue()


def _checked(text: str, complaint: str) -> Shop:
    found = read_shop(text)
    if found.shop is None:
        listed = "\n".join(str(problem) for problem in found.problems if problem.severity == "error")
        raise ShopError(f"{complaint}:\n{listed}")
    return found.shop


# --- changes ----------------------------------------------------------------------------------------


def add_person(name: str, roles: tuple[str, ...]) -> Change:
    """A new person, without a PIN."""

    def change(tree: Any) -> None:
        people = _part(tree, "people")
        if name in people:
            raise ShopError(f"{name} is already in the register.")
        people[name] = _flow({"roles": _flow_list(roles)})

    return change


def set_pin(name: str, kept: str) -> Change:
    """Set the PIN to the salted hash ``kept``; "" removes it."""

    def change(tree: Any) -> None:
        person = _entry(tree, "people", name)
        if kept:
            person["pin"] = kept
        else:
            person.pop("pin", None)

    return change


def set_roles(name: str, roles: tuple[str, ...]) -> Change:
    def change(tree: Any) -> None:
        _entry(tree, "people", name)["roles"] = _flow_list(roles)

    return change


def retire(part: str, name: str, on: date) -> Change:
    """Retire a person (``people``) or an instrument (``instruments``). The entry stays, since old logs name it."""

    def change(tree: Any) -> None:
        _entry(tree, part, name)["retired"] = on.isoformat()

    return change


def add_instrument(name: str, values: dict[str, str]) -> Change:
    """A new instrument; ``values`` are its keys as written in the file."""

    def change(tree: Any) -> None:
        instruments = _part(tree, "instruments")
        if name in instruments:
            raise ShopError(f"{name} is already in the register.")
        instruments[name] = _plain(dict(values))

    return change


def set_value(name: str, key: str, value: str) -> Change:
    """Set one key of an instrument; "" removes it."""

    def change(tree: Any) -> None:
        entry = _entry(tree, "instruments", name)
        if value:
            entry[key] = value
        else:
            entry.pop(key, None)

    return change


def record_calibration(name: str, on: date, due: date | None, uncertainty: str = "") -> Change:
    """Record a calibration: uses are counted from zero, and a doubt is removed."""

    def change(tree: Any) -> None:
        entry = _entry(tree, "instruments", name)
        entry["calibrated"] = on.isoformat()
        if due is None:
            entry.pop("calibration-due", None)
        else:
            entry["calibration-due"] = due.isoformat()
        if uncertainty:
            entry["uncertainty"] = uncertainty
        entry["uses-since"] = 0
        entry.pop("uses-in", None)
        entry.pop("in-doubt", None)

    return change


def doubt(name: str, why: str) -> Change:
    """Mark an instrument as in doubt (dropped, overloaded): not to be used until it is calibrated again."""
    return set_value(name, "in-doubt", why)


def count_uses(session: str, counts: dict[str, int]) -> Change:
    """Record the uses of a session by serial number or id. ``counts`` is the *whole* count of that session, so that
    counting twice changes nothing. An instrument that is not in the register is left out."""

    def change(tree: Any) -> None:
        for name, entry in _part(tree, "instruments").items():
            count = counts.get(str(entry.get("serial", "")), 0) + counts.get(name, 0)
            if count > 0:
                entry.setdefault("uses-in", {})[session] = count

    return change


def _part(tree: Any, part: str) -> Any:
    if not tree.get(part):
        tree[part] = _plain({})
    return tree[part]


def _entry(tree: Any, part: str, name: str) -> Any:
    entries = tree.get(part) or {}
    if name not in entries:
        known = ", ".join(str(other) for other in entries) or "none yet"
        raise ShopError(f"{name} is not in the register under `{part}`; it has {known}.")
    return entries[name]


def _plain(values: dict[str, Any]) -> Any:
    from ruamel.yaml.comments import CommentedMap

    made = CommentedMap(values)
    made.fa.set_block_style()
    return made


def _flow(values: dict[str, Any]) -> Any:
    made = _plain(values)
    made.fa.set_flow_style()
    return made


def _flow_list(values: tuple[str, ...]) -> Any:
    from ruamel.yaml.comments import CommentedSeq

    made = CommentedSeq(values)
    made.fa.set_flow_style()
    return made


# --- saving -----------------------------------------------------------------------------------------


def change_file(path: Path, *changes: Change, disk: Disk | None = None) -> Shop:
    """Make ``changes`` to the file at ``path``; returns the new register. A missing file is made, not its folder.

    Raises:
        ShopError: the change is not possible, somebody else changes the file at the same time, or it cannot be
            saved. The file is then unchanged.
    """
    try:
        with _alone(path):
            before = path.read_bytes() if path.exists() else None
            text = EMPTY if before is None else before.decode("utf-8-sig")
            after = changed(text, *changes)
            _replace(path, before, after, disk or Disk())
    except UnicodeDecodeError as wrong:
        raise ShopError(f"{path} is not UTF-8 text; save it as UTF-8.") from wrong
    except OSError as wrong:
        raise ShopError(f"The shop file could not be saved: {wrong.strerror} ({path}). Nothing was changed.") from wrong
    return _checked(after, "The shop file cannot be read")


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    """Only one program changes the register at a time. The lock is on a second file, since the register itself is
    replaced. Where files cannot be locked, the comparison before the replacement must be enough."""
    fd = os.open(path.with_name(path.name + ".lock"), os.O_RDWR | os.O_CREAT, 0o600)
    try:
        try:
            free = lock.take(fd)
        except lock.NoLocks:
            free = True
        if not free:
            raise ShopError(f"{path} is being changed by another program. Nothing was changed; try again.")
        yield
    finally:
        os.close(fd)


def _replace(path: Path, before: bytes | None, after: str, disk: Disk) -> None:
    target = path.resolve()  # a link stays a link

    def refuse_if_changed() -> None:
        now = target.read_bytes() if target.exists() else None
        if now != before:
            raise ShopError(f"{path} was changed by somebody else just now. Nothing was changed; try again.")

    atomic_write(
        target,
        after.encode("utf-8"),
        mode=0o600 if before is None else None,
        before_replace=refuse_if_changed,
        sync=disk.sync,
        sync_names=disk.sync_folder,
    )
