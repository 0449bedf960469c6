"""The text of a file. Edits keep its line ends, its byte order mark and everything else."""

from bisect import bisect_left
from collections.abc import Iterable
from difflib import unified_diff
from functools import cached_property

from msgspec import Struct

_MARK = "\ufeff"


class TextEdit(Struct, frozen=True):
    """Replaces the characters from ``start`` to before ``end`` by ``text``. Equal ends insert."""

    start: int
    end: int
    text: str


class FileText(Struct, frozen=True, dict=True):
    """The text of a file. ``raw`` has the line ends of the file and no byte order mark; ``marked`` says there is one.

    Places count in characters of :attr:`plain`.
    """

    raw: str
    marked: bool = False

    @classmethod
    def of(cls, data: bytes) -> "FileText":
        """The text of the bytes of a file.

        Raises:
            UnicodeDecodeError: they are not UTF-8.
        """
        text = data.decode("utf-8")
        return cls(text.removeprefix(_MARK), text.startswith(_MARK))

    @property
    def data(self) -> bytes:
        """The bytes of the file."""
        return ((_MARK if self.marked else "") + self.raw).encode("utf-8")

    @cached_property
    def plain(self) -> str:
        """The text with ``\\n`` for each line end."""
        return self.raw.replace("\r\n", "\n").replace("\r", "\n")

    @cached_property
    def _line_end(self) -> str:
        """The line end that most lines have."""
        crlf = self.raw.count("\r\n")
        cr = self.raw.count("\r") - crlf
        return max((("\n", self.raw.count("\n") - crlf), ("\r\n", crlf), ("\r", cr)), key=lambda each: each[1])[0]

    @cached_property
    def _pairs(self) -> list[int]:
        """The place in :attr:`plain` of each line end of two characters."""
        found: list[int] = []
        at = self.raw.find("\r\n")
        while at >= 0:
            found.append(at - len(found))
            at = self.raw.find("\r\n", at + 2)
        return found

    def _in_raw(self, place: int) -> int:
        return place + bisect_left(self._pairs, place)

    def edited(self, edits: Iterable[TextEdit]) -> "FileText":
        """The text after the edits, which must not overlap. Edits at one place are made in their order."""
        pieces: list[str] = []
        at = 0
        for edit in sorted(edits, key=lambda each: (each.start, each.end)):
            start, end = self._in_raw(edit.start), self._in_raw(edit.end)
            if start < at:
                raise ValueError("two edits overlap")
            pieces += [self.raw[at:start], edit.text.replace("\n", self._line_end)]
            at = end
        return FileText("".join(pieces) + self.raw[at:], self.marked)

    def line_of(self, place: int) -> int:
        """The line of a place, from 1."""
        return self.plain.count("\n", 0, place) + 1


def text_diff(old: str, new: str, file: str, context: int = 2) -> str:
    """The unified diff of two plain texts; "" if they are equal."""
    lines = unified_diff(old.split("\n"), new.split("\n"), file, file, n=context, lineterm="")
    return "\n".join(lines)
