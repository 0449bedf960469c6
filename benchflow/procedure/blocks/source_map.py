"""Maps a place in a written-out procedure to the author's line and to the line of the block."""

import re
from bisect import bisect_right
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.model import Mark
from benchflow.procedure.problems import Problem

SAME_LINE, SAME_LINES = 1, 2
"""How a text is copied: on one line without a change, or with its lines below a ``|``."""

_line_in_message = re.compile(r"(?<=on line )\d+|(?<=\(line )\d+(?=\))")


class MappedPlace(Struct, frozen=True, array_like=True):
    """A node that is written out at ``line`` and ``column``, and the place in the author's file.

    ``copied`` is 0, :data:`SAME_LINE` or :data:`SAME_LINES`. For the last, ``shift`` is the number of columns by which
    its lines are further right in the author's file. ``block`` is the file and line in the block; "" for none.
    """

    line: int
    column: int
    author_line: int
    author_column: int
    copied: int = 0
    shift: int = 0
    block: str = ""


class SourceMap(Struct, frozen=True):
    """The places of all nodes that are written out, in the order of the text."""

    places: tuple[MappedPlace, ...]

    def origin_of(self, mark: Mark) -> tuple[Mark, str]:
        """The place in the author's file, and the file and line in the block ("" for none)."""
        if not mark.line:
            return mark, ""
        index = bisect_right(self.places, (mark.line, mark.column), key=lambda each: (each.line, each.column))
        if not index:
            return Mark(1, 1), ""
        place = self.places[index - 1]
        line, column = place.author_line, place.author_column
        if place.copied == SAME_LINE and mark.line == place.line:
            column += mark.column - place.column
        elif place.copied == SAME_LINES and mark.line > place.line:
            line, column = line + mark.line - place.line, mark.column + place.shift
        return Mark(line, column), place.block

    def in_author_file(self, problem: Problem) -> Problem:
        """The problem at its place in the author's file. Line numbers in its message are changed too."""
        mark, block = self.origin_of(Mark(problem.line, problem.column))
        return replace(
            problem, line=mark.line, column=mark.column, block=block, message=self.in_message(problem.message)
        )

    def finding_in_author_file(self, finding: dict[str, Any]) -> dict[str, Any]:
        """A finding of ``check --json`` at its place in the author's file; with ``block`` if it is about a block."""
        mark, block = self.origin_of(Mark(finding["line"], finding["column"]))
        message = self.in_message(finding["message"])
        place = {"line": mark.line, "column": mark.column, "message": message}
        return {**finding, **place, **({"block": block} if block else {})}

    def in_message(self, message: str) -> str:
        """The message with the line numbers of the author's file."""

        def changed(found: re.Match[str]) -> str:
            mark, block = self.origin_of(Mark(int(found[0]), 10_000))
            return f"{mark.line}, block {block}" if block else str(mark.line)

        return _line_in_message.sub(changed, message)
