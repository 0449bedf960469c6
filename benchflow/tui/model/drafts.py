"""What was typed and not entered yet, kept beside the log so that coming back finds it again.

It is no part of the log and proves nothing: a convenience that may be lost, never a record. It is written
without being synced, as one typed on; a killed program leaves it behind, a power cut may not.
"""

from pathlib import Path

import msgspec
from msgspec import Struct

from benchflow.base.atomic_write import atomic_write

SUFFIX = ".draft"
MAX_BYTES = 1 << 20
"""Bytes. Whatever is larger was not written here."""


class Draft(Struct, omit_defaults=True):
    """``texts`` by the name of what they are typed for; ``goal`` the operation that was being led up to."""

    texts: dict[str, str] = {}
    goal: str = ""


class Drafts:
    """``keep`` and ``drop`` change what is held; ``save`` puts it beside the log, from any thread."""

    def __init__(self, log: Path, *, writable: bool = True) -> None:
        self.path = log.with_name(log.name + SUFFIX)
        self._writable = writable
        self._draft = _read(self.path)
        self._saved = msgspec.json.encode(self._draft)

    @property
    def goal(self) -> str:
        return self._draft.goal

    @goal.setter
    def goal(self, operation: str) -> None:
        self._draft.goal = operation

    def text(self, name: str) -> str:
        return self._draft.texts.get(name, "")

    def keep(self, name: str, text: str) -> None:
        if text:
            self._draft.texts[name] = text
        else:
            self._draft.texts.pop(name, None)

    def moved(self, log: Path) -> None:
        """The log goes on elsewhere, and what was typed goes with it."""
        self.path = log.with_name(log.name + SUFFIX)
        self._saved = b""

    def save(self) -> None:
        """Whole or not at all. A disk that does not take it is no reason to disturb anybody."""
        data = msgspec.json.encode(self._draft)
        if not self._writable or data == self._saved:
            return
        try:
            if self._draft == Draft():
                self.path.unlink(missing_ok=True)
            else:
                atomic_write(self.path, data, durable=False)
        except OSError:
            return
        self._saved = data


def _read(path: Path) -> Draft:
    try:
        with path.open("rb") as file:
            return msgspec.json.decode(file.read(MAX_BYTES), type=Draft)
    except (OSError, msgspec.DecodeError):
        return Draft()
