"""Changes the shop file and keeps its comments, order and layout.

The new text is parsed before it is written. Saving replaces the file atomically, and only if no other program has
changed it since it was read.
"""

import io
import os
import secrets
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from benchflow.base.atomic_write import Unconfirmed, atomic_write
from benchflow.session.log import lock
from benchflow.session.log.disk import Disk
from benchflow.session.log.timestamps import format_timestamp
from benchflow.session.shop.pin_tries import open_lock_file
from benchflow.session.shop.register import Shop, ShopError, hash_pin, path_id, salt_for
from benchflow.session.shop.register_reader import load_shop, read_shop

Change = Callable[[Any], None]
"""Changes the tree of the file (ruamel's round-trip mapping) in place; may raise :class:`ShopError`."""

EMPTY = "shop: 1\npeople: {}\ninstruments: {}\n"
"""The text of a new register."""


def apply_changes(text: str, *changes: Change) -> str:
    """The text of a shop file after ``changes``. A register without an id gets one.

    Raises:
        ShopError: a change is not possible, or the text has errors before or after the changes.
    """
    _parsed(text, "The shop file has errors. Correct them first")
    from ruamel.yaml import YAML  # imported late: only a change of the register needs it

    yaml = YAML(typ="rt", pure=True)
    yaml.preserve_quotes = True
    yaml.width = 200
    # The reader above refuses aliases, tags and directives, so the text has none here.
    tree = yaml.load(text) or yaml.load(EMPTY)
    for change in (*changes, _add_id):
        change(tree)
    out = io.StringIO()
    yaml.dump(tree, out)
    _parsed(out.getvalue(), "The shop file would have errors after the change")
    return out.getvalue()


def _add_id(tree: Any) -> None:
    if "id" not in tree:
        tree.insert(list(tree).index("shop") + 1, "id", secrets.token_hex(16))


def _parsed(text: str, message: str) -> Shop:
    """The register in ``text``; raises :class:`ShopError` with ``message`` and all errors if it has any."""
    parsed = read_shop(text)
    if parsed.shop is None:
        errors = "\n".join(str(problem) for problem in parsed.problems if problem.severity == "error")
        raise ShopError(f"{message}:\n{errors}")
    return parsed.shop


# --- changes ----------------------------------------------------------------------------------------


def add_person(name: str, roles: tuple[str, ...]) -> Change:
    """Add a person without a PIN."""

    def change(tree: Any) -> None:
        people = _section(tree, "people")
        if name in people:
            raise ShopError(f"{name} is already in the register.")
        people[name] = _flow_mapping({"roles": _flow_sequence(roles)})

    return change


def set_new_pin(name: str, pin: str) -> Change:
    """Set the PIN to ``pin`` with a new salt, or remove it if ``pin`` is empty. The time of the change is now.

    Raises:
        ShopError: the PIN is too short or too long.
    """
    at = format_timestamp(datetime.now(UTC))
    return set_pin(name, hash_pin(pin, salt_for(name, at, secrets.token_bytes(16))) if pin else "", at)


def set_pin(name: str, hashed: str, at: str | None = None) -> Change:
    """Set the PIN to the salted hash ``hashed``; "" removes it. ``at`` is the time of the change, by default now."""

    def change(tree: Any) -> None:
        person = _entry(tree, "people", name)
        if hashed:
            person["pin"] = hashed
        else:
            person.pop("pin", None)
        person["pin-changed"] = format_timestamp(datetime.now(UTC)) if at is None else at

    return change


LETTERHEAD_NAMES = ("name", "address", "telephone", "email", "logo")


def set_letterhead(key: str, lines: tuple[str, ...]) -> Change:
    """Set a key of the letterhead to a line, or to several lines; without a line, remove it.

    Raises:
        ShopError: there is no such key, or it has only one line.
    """
    if key not in LETTERHEAD_NAMES:
        raise ShopError(f"The letterhead has no {key!r}. Its keys are: {', '.join(LETTERHEAD_NAMES)}.")
    if len(lines) > 1 and key != "address":
        raise ShopError(f"The {key} has only one line.")

    def change(tree: Any) -> None:
        if not lines:
            tree.pop(key, None)
        elif key in tree:
            tree[key] = list(lines) if len(lines) > 1 else lines[0]
        else:
            before = [known for known in ("shop", "id", *LETTERHEAD_NAMES) if known in tree]
            tree.insert(list(tree).index(before[-1]) + 1, key, list(lines) if len(lines) > 1 else lines[0])

    return change


def set_roles(name: str, roles: tuple[str, ...]) -> Change:
    """Replace the roles of a person."""

    def change(tree: Any) -> None:
        _entry(tree, "people", name)["roles"] = _flow_sequence(roles)

    return change


def retire(part: str, name: str, on: date) -> Change:
    """Retire a person (``people``) or an instrument (``instruments``). The entry stays: old logs refer to it."""

    def change(tree: Any) -> None:
        _entry(tree, part, name)["retired"] = on.isoformat()

    return change


def add_instrument(name: str, values: dict[str, str]) -> Change:
    """Add an instrument. ``values`` has its keys and values as text, as in the file."""

    def change(tree: Any) -> None:
        instruments = _section(tree, "instruments")
        if name in instruments:
            raise ShopError(f"{name} is already in the register.")
        instruments[name] = _block_mapping(dict(values))

    return change


def set_value(name: str, key: str, value: str) -> Change:
    """Set one key of an instrument; the value "" removes the key."""

    def change(tree: Any) -> None:
        entry = _entry(tree, "instruments", name)
        if value:
            entry[key] = value
        else:
            entry.pop(key, None)

    return change


def record_calibration(name: str, on: date, due: date | None, uncertainty: str = "") -> Change:
    """Record a calibration. Uses are counted from zero again. A doubt ends, and is kept among the earlier ones.

    A doubt that was found after the day ``on`` stays: that calibration was before it.
    """

    def change(tree: Any) -> None:
        entry = _entry(tree, "instruments", name)
        _end_doubt(entry, on)
        entry["calibrated"] = on.isoformat()
        if due is None:
            entry.pop("calibration-due", None)
        else:
            entry["calibration-due"] = due.isoformat()
        if uncertainty:
            entry["uncertainty"] = uncertainty
        entry["uses-since"] = 0
        entry.pop("uses-in", None)

    return change


def _end_doubt(entry: Any, on: date) -> None:
    """Move the present doubt of an instrument to the earlier ones, with the calibration of the day ``on``."""
    written = entry.get("in-doubt")
    doubt = dict(written) if isinstance(written, dict) else {"reason": str(written)}
    if not written or str(doubt.get("found", "")) > on.isoformat() or str(doubt.get("last-good", "")) > on.isoformat():
        return
    before = str(entry.get("calibrated", ""))
    if "last-good" not in doubt and before and before <= str(doubt.get("found", on.isoformat())):
        doubt["last-good"] = before
    ended = {key: str(doubt[key]) for key in ("reason", "found", "last-good") if key in doubt}
    if "doubts" not in entry:
        entry["doubts"] = []
    entry["doubts"].append(_flow_mapping({**ended, "calibrated": on.isoformat()}))
    del entry["in-doubt"]


def mark_in_doubt(name: str, reason: str, found: date | None = None, last_good: date | None = None) -> Change:
    """Mark an instrument as in doubt, for example after a fall. It must not be used before its next calibration.

    ``found`` is the day on which that was found, ``last_good`` the last day on which it was known to read right.

    Raises:
        ShopError: ``last_good`` is after ``found``.
    """
    if found is not None and last_good is not None and last_good > found:
        raise ShopError(f"The last good check {last_good} is after the day {found} on which the error was found.")
    if found is None and last_good is None:
        return set_value(name, "in-doubt", reason)

    def change(tree: Any) -> None:
        days = {"found": found, "last-good": last_good}
        dated = {key: day.isoformat() for key, day in days.items() if day is not None}
        _entry(tree, "instruments", name)["in-doubt"] = _flow_mapping({"reason": reason, **dated})

    return change


def record_uses(session: str, counts: dict[str, int]) -> Change:
    """Record the uses of a session, by serial number or id of the instrument.

    ``counts`` are all uses of that session, so recording them again changes nothing. Instruments that are not in the
    register are skipped.
    """

    def change(tree: Any) -> None:
        for name, entry in _section(tree, "instruments").items():
            count = counts.get(str(entry.get("serial", "")), 0) + counts.get(name, 0)
            if count > 0:
                entry.setdefault("uses-in", {})[session] = count

    return change


def _section(tree: Any, part: str) -> Any:
    if not tree.get(part):
        tree[part] = _block_mapping({})
    return tree[part]


def _entry(tree: Any, part: str, name: str) -> Any:
    entries = tree.get(part) or {}
    if name not in entries:
        known = ", ".join(str(other) for other in entries) or "none yet"
        raise ShopError(f"{name} is not in the register under `{part}`. It has: {known}.")
    return entries[name]


def _block_mapping(values: dict[str, Any]) -> Any:
    from ruamel.yaml.comments import CommentedMap

    node = CommentedMap(values)
    node.fa.set_block_style()
    return node


def _flow_mapping(values: dict[str, Any]) -> Any:
    node = _block_mapping(values)
    node.fa.set_flow_style()
    return node


def _flow_sequence(values: tuple[str, ...]) -> Any:
    from ruamel.yaml.comments import CommentedSeq

    node = CommentedSeq(values)
    node.fa.set_flow_style()
    return node


# --- saving -----------------------------------------------------------------------------------------


def change_file(path: Path, *changes: Change, disk: Disk | None = None) -> Shop:
    """Make ``changes`` to the file at ``path`` and return the new register.

    A missing file is made; its folder must exist. Where a PIN is set, only the owner can read the file afterwards.

    Raises:
        ShopError: a change is not possible, another program is changing the file, or it cannot be saved. The file
            is then unchanged.
    """
    try:
        with locked(path):
            return save_changes(path, *changes, disk=disk)
    except UnicodeDecodeError as error:
        raise ShopError(f"{path} is not UTF-8 text. Save it as UTF-8.") from error
    except OSError as error:
        raise ShopError(f"The shop file {path} could not be saved: {error.strerror}. Nothing was changed.") from error


def save_changes(path: Path, *changes: Change, disk: Disk | None = None) -> Shop:
    """Make ``changes`` to the file at ``path``, which this program has locked, and return the new register.

    Raises:
        ShopError: a change is not possible, or another program has changed the file.
        OSError: the file cannot be read or saved.
        UnicodeDecodeError: the file is not UTF-8 text.
    """
    before = path.read_bytes() if path.exists() else None
    text = EMPTY if before is None else before.decode("utf-8-sig")
    after = apply_changes(text, *changes)
    register = _parsed(after, "The shop file has errors")
    try:
        _replace(path, before, after, disk or Disk(), private=any(person.pin for person in register.people))
    except Unconfirmed as error:
        message = f"{path} was changed, but the disk did not confirm it: {error.strerror}. Look at it: benchflow shop"
        raise ShopError(message) from error
    return register


def ensure_id(path: Path) -> str:
    """The permanent id of the register at ``path``. A register without one gets it now, if its file can be changed.

    Raises:
        ShopError: the file has errors.
    """
    try:
        parsed = load_shop(path)
    except OSError as error:
        raise ShopError(f"The shop file {path} cannot be read: {error.strerror or error}.") from error
    if parsed.shop is None:
        raise ShopError("The shop file has errors. Correct them first.")
    if not parsed.shop.id and path.stat().st_mode & 0o222:  # a file that nobody may write stays as it is
        with suppress(ShopError):
            return change_file(path).id
    return parsed.shop.id or path_id(path)


def readable_by_others(path: Path) -> bool:
    """True if users other than the owner can read the file, on a system whose files have permissions."""
    try:
        return os.name == "posix" and bool(path.stat().st_mode & 0o044)
    except OSError:
        return False


@contextmanager
def locked(path: Path) -> Iterator[int]:
    """Keep other programs from changing the register at the same time. Yields the lock file, which is open.

    The lock is on a second file, because the register itself is replaced. If files cannot be locked, only the
    comparison before the replacement protects the register.
    """
    fd = open_lock_file(path)
    try:
        try:
            free = lock.acquire(fd)
        except lock.LockingUnsupported:
            free = True
        if not free:
            raise ShopError(f"Another program is changing {path}. Nothing was changed. Try again.")
        yield fd
    finally:
        os.close(fd)


def _replace(path: Path, before: bytes | None, after: str, disk: Disk, *, private: bool) -> None:
    target = path.resolve()  # a symbolic link is kept
    mode = 0o600 if before is None else stat.S_IMODE(target.stat().st_mode) & 0o777

    def refuse_if_changed() -> None:
        now = target.read_bytes() if target.exists() else None
        if now != before:
            raise ShopError(f"Another program has just changed {path}. Nothing was changed. Try again.")

    atomic_write(
        target,
        after.encode("utf-8"),
        mode=mode & 0o700 if private else mode,
        before_replace=refuse_if_changed,
        sync=disk.sync,
        sync_names=disk.sync_folder,
    )
