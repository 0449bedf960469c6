"""Drafts: text that is typed but not entered, kept in a file next to the log until it is entered.

Drafts are not part of the record. They are written without fsync, so they survive a killed program, but perhaps not a
power cut.
"""

from pathlib import Path

import msgspec
from msgspec import Struct

from benchflow.base.atomic_write import atomic_write
from benchflow.base.regular_file import read_regular_file

SUFFIX = ".draft"
MAX_BYTES = 1 << 20
"""Maximum size that is read, in bytes. A larger file was not written by benchflow."""


class SavedDrafts(Struct, omit_defaults=True):
    """The content of the file: ``texts`` by the name of their field, and the ``goal`` of the guided route."""

    texts: dict[str, str] = {}
    goal: str = ""


class Drafts:
    """The drafts of one job. :meth:`save` may be called from any thread."""

    def __init__(self, log: Path, *, writable: bool = True) -> None:
        self.path = log.with_name(log.name + SUFFIX)
        found = _read(self.path)
        self._writable = writable and found is not None
        self._draft = found or SavedDrafts()
        self._saved = msgspec.json.encode(self._draft)

    @property
    def goal(self) -> str:
        """The operation that the builder is guided to, or an empty string."""
        return self._draft.goal

    @goal.setter
    def goal(self, operation: str) -> None:
        self._draft.goal = operation

    def text(self, name: str) -> str:
        """Return the draft under this name, empty if there is none."""
        return self._draft.texts.get(name, "")

    def set_text(self, name: str, text: str) -> None:
        """Change the draft under this name. An empty text deletes it. Nothing is written before :meth:`save`."""
        if text:
            self._draft.texts[name] = text
        else:
            self._draft.texts.pop(name, None)

    def follow_log(self, log: Path) -> None:
        """Save the drafts next to this log from now on, because the log continues in another folder."""
        self.path = log.with_name(log.name + SUFFIX)
        self._writable = self._writable and _read(self.path) is not None
        self._saved = b""

    def save(self) -> None:
        """Write the file atomically, if a draft has changed. A failed write is ignored."""
        data = msgspec.json.encode(self._draft)
        if not self._writable or data == self._saved:
            return
        try:
            if self._draft == SavedDrafts():
                self.path.unlink(missing_ok=True)
            else:
                atomic_write(self.path, data, durable=False)
        except OSError:
            return
        self._saved = data


def _read(path: Path) -> SavedDrafts | None:
    """The drafts at ``path``, empty if there is no file; ``None`` if something is there that is not benchflow's."""
    try:
        if not path.is_symlink():
            return msgspec.json.decode(read_regular_file(path, MAX_BYTES) or b"{}", type=SavedDrafts)
    except FileNotFoundError:
        return SavedDrafts()
    except (OSError, msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        pass
    return None
