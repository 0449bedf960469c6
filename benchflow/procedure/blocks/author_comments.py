"""Puts the comments of the author's file into the procedure that is written out, for people who read it.

The text in a log is without them: its digest is that of the content. Only comments on lines of their own are kept,
above the key, the list item or the use of a block that follows them. A comment in a block file is for those who change
the block, and is not written out.
"""

import re
from collections.abc import Iterator

from benchflow.procedure.blocks.setup_merging import content_of
from benchflow.procedure.blocks.source_map import MappedPlace
from benchflow.procedure.yaml_source.yaml_reader import parse

_comment = re.compile(r" *#")
_header_of_text = re.compile(r"(?:^|.*[ :-]) *[|>][-+0-9]*(?: +#.*)?$")
_sections = re.compile(r"sections *:")


def with_comments(author_text: str, written: str, places: tuple[MappedPlace, ...]) -> str:
    """The written-out text with the comments of the author's text. ``places`` are those of its source map."""
    lines = written.split("\n")
    above = _places_of_lines(lines, places)
    inserted: dict[int, list[str]] = {}
    for comments, line in _comments(author_text):
        at = above.get(line)
        if at is not None:
            margin = " " * (len(lines[at - 1]) - len(lines[at - 1].lstrip(" ")))
            inserted.setdefault(at, []).extend(margin + comment for comment in comments)
    made = "\n".join(each for at, line in enumerate(lines, 1) for each in (*inserted.get(at, ()), line))
    return made if _content(made) == _content(written) else written


def _content(text: str) -> object:
    root = parse(text, "").root
    return None if root is None else content_of(root)


def _places_of_lines(lines: list[str], places: tuple[MappedPlace, ...]) -> dict[int, int]:
    """For a line of the author the first line that is written from it, if that begins with its content.

    A use of a block is written at its operations, behind `sections`, and not at the set-up that it brings.
    """
    sections = next((number for number, line in enumerate(lines, 1) if _sections.match(line)), 0)
    own: dict[int, int] = {}
    of_blocks: dict[int, int] = {}
    last = 0
    for place in places:
        if place.line != last:
            last = place.line
            if not place.block:
                own.setdefault(place.author_line, place.line)
            elif place.line > sections:
                of_blocks.setdefault(place.author_line, place.line)
    return {**of_blocks, **own}


def _comments(text: str) -> Iterator[tuple[list[str], int]]:
    """The comments on lines of their own, without their indent, and the number of the line below them."""
    found: list[str] = []
    inside: int | None = None  # the indent of the line with `|` or `>` whose text this is
    for number, line in enumerate(text.split("\n"), 1):
        indent = len(line) - len(line.lstrip(" "))
        if inside is not None and (not line.strip() or indent > inside):
            continue
        inside = None
        if _comment.match(line):
            found.append(line.strip())
        elif line.strip():
            if found:
                yield found, number
            found = []
            inside = indent if _header_of_text.match(line) else None
