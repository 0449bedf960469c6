"""The lines of an open log, kept as bytes and decoded when they are asked for.

A decoded line takes about six times the memory of its bytes, and is rarely needed again after the fold.
"""

from array import array
from collections.abc import Iterator, Sequence
from typing import overload

from benchflow.session.log.line_format import Line, decode_verified


class KeptLines(Sequence[Line]):
    """The verified lines at the start of a log, which only grows. Two are equal if they have equal lines.

    ``content`` has their bytes, each with its newline; the last one may lack it. ``decoded`` are these lines, if they
    are decoded already: going through all lines for the first time then uses them, and they are not kept longer.
    """

    def __init__(self, content: bytes = b"", decoded: Sequence[Line] = ()) -> None:
        self.content = bytearray()
        self._ends = array("Q")  # for each line, the place of its newline
        self._decoded = decoded
        self.add(content)

    def add(self, content: bytes) -> None:
        """Add verified lines. If the last one before lacks its newline, ``content`` begins with it."""
        at = len(self.content)
        if at:
            self._decoded = ()
        if at and self._ends[-1] == at:
            at += 1
        self.content += content
        size = len(self.content)
        while at < size:
            end = self.content.find(b"\n", at)
            end = size if end < 0 else end
            self._ends.append(end)
            at = end + 1

    def __len__(self) -> int:
        return len(self._ends)

    @overload
    def __getitem__(self, index: int) -> Line: ...

    @overload
    def __getitem__(self, index: slice) -> list[Line]: ...

    def __getitem__(self, index: int | slice) -> Line | list[Line]:
        if isinstance(index, slice):
            return [self._line(place) for place in range(*index.indices(len(self._ends)))]
        return self._line(range(len(self._ends))[index])

    def __iter__(self) -> Iterator[Line]:
        decoded, self._decoded = self._decoded, ()
        if decoded:
            return iter(decoded)
        return map(self._line, range(len(self._ends)))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Sequence):
            return NotImplemented
        return len(self) == len(other) and all(one == another for one, another in zip(self, other, strict=True))

    __hash__ = None  # type: ignore[assignment]  # it grows

    def __repr__(self) -> str:
        return f"<{len(self)} lines, {len(self.content)} bytes>"

    def _line(self, place: int) -> Line:
        start = self._ends[place - 1] + 1 if place else 0
        return decode_verified(bytes(self.content[start : self._ends[place]]))
