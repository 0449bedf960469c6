"""The order of a build as one picture: a row for each operation, a lane for each state.

Lines on the left say what comes before what, drawn like wiring: a dot joins, a crossing does not. In a state's lane a
white box is needed, a dashed one stands while the operation is in hand, a black one stands from then on. Moves and
rules have rows of their own in the same lanes. Shapes and words carry everything, so it prints in black and white;
the SVG needs nothing from outside.
"""

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from html import escape
from typing import Literal

from msgspec import Struct

from benchflow.base.plaintext import clean_line
from benchflow.ordering.pictures.order_graph import OperationGroup, OrderGraph
from benchflow.ordering.pictures.order_graph_text import GraphNames

_SIZE, _SMALL, _LINE = 12.0, 10.0, 14.0
_PAD, _RAIL, _NUMBER, _TITLE = 16.0, 9.0, 50.0, 300.0
_LANE_LEAST, _LANE_MOST = 74.0, 118.0

Kind = Literal["needs", "in hand", "then", "never"]
_BOXES: dict[Kind, tuple[str, str]] = {
    "needs": ('fill="#fff" stroke="#000" stroke-width="1"', "#000"),
    "in hand": ('fill="#fff" stroke="#000" stroke-width="1.5" stroke-dasharray="4 2"', "#000"),
    "then": ('fill="#000" stroke="#000" stroke-width="1"', "#fff"),
    "never": ('fill="#fff" stroke="#000" stroke-width="3"', "#000"),
}


class _Box(Struct, frozen=True):
    """A value in a lane; ``small`` says below it who brings it about."""

    kind: Kind
    lines: tuple[str, ...]
    small: tuple[str, ...] = ()

    @property
    def height(self) -> float:
        return len(self.lines) * _LINE + len(self.small) * (_SMALL + 1) + 5


class _PictureRow(Struct, frozen=True):
    """``head`` stands in the number's box; a ``heading`` has none and goes across. ``boxes`` are by lane."""

    y: float
    head: str
    lines: tuple[str, ...]
    notes: tuple[str, ...] = ()
    boxes: Mapping[int, tuple[_Box, ...]] = {}
    heading: bool = False
    hold: bool = False

    @property
    def height(self) -> float:
        words = len(self.lines) * _LINE + len(self.notes) * (_SMALL + 2)
        boxes = max((sum(box.height + 3 for box in stack) for stack in self.boxes.values()), default=0.0)
        return max(words, boxes) + (14 if self.heading else 12)

    @property
    def middle(self) -> float:
        """Where the lines of the order run in and out: level with the first line of words."""
        return self.y + 4 + _LINE / 2


def order_graph_svg(drawn: OrderGraph, groups: Sequence[OperationGroup]) -> str:
    """The picture, as the text of an SVG file."""
    return _OrderPicture(drawn, groups).svg()


class _OrderPicture:
    def __init__(self, drawn: OrderGraph, groups: Sequence[OperationGroup]) -> None:
        self._drawn = drawn
        self._groups = groups
        self._names = GraphNames(drawn, groups)
        self._lane = {state.name: index for index, state in enumerate(drawn.states)}
        self._wide = [self._lane_width(index) for index in range(len(drawn.states))]
        self._tracks, self._rails = _tracks(groups)
        self._number_x = _PAD + 14 + self._rails * _RAIL
        self._title_x = self._number_x + _NUMBER + 10
        self._lanes_x = self._title_x + _TITLE + 12
        self._right = max(self._lanes_x + sum(self._wide), self._title_x + 520)
        self._y = 0.0

    def svg(self) -> str:
        top = list(self._top())
        lanes_from = self._y
        rows, of_group = self._rows()
        lanes_to = self._y
        parts = [*top, *self._lane_lines(lanes_from, lanes_to)]
        parts += _order_lines(self._tracks, of_group, self._number_x)
        for row in rows:
            parts += self._row(row)
        width, height = self._right + _PAD, self._y + _PAD
        name = escape(clean_line(f"The order of {self._drawn.title}"))
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{name}" width="{width:g}" '
            f'height="{height:g}" viewBox="0 0 {width:g} {height:g}" font-family="sans-serif"><title>{name}</title>'
            f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>\n' + "\n".join(parts) + "\n</svg>\n"
        )

    # --- above the rows ---------------------------------------------------------------------------

    def _top(self) -> Iterator[str]:
        drawn = self._drawn
        self._y = _PAD + 20
        yield _text(_PAD, self._y, f"{drawn.title}, revision {drawn.revision}", size=20, bold=True)
        about = [drawn.notice] if drawn.notice else []
        if drawn.options:
            about.append("For " + ", ".join(f"{name}: {choice}" for name, choice in drawn.options.items()) + ".")
        for line in (line for text in about for line in _wrapped(text, self._right - _PAD, _SIZE)):
            self._y += _LINE + 1
            yield _text(_PAD, self._y, line)
        self._y += 16
        yield from self._legend()
        heads = [_wrapped(state.title, wide - 8, _SIZE) for state, wide in zip(drawn.states, self._wide, strict=True)]
        self._y += 34 + _LINE * max(map(len, heads), default=0)

    def _legend(self) -> Iterator[str]:
        shown: list[tuple[Kind, str]] = [("needs", "has to stand so"), ("in hand", "stands so while in hand"),
                                         ("then", "stands so from then on"), ("never", "never together")]  # fmt: skip
        x = _PAD
        for kind, words in shown if self._drawn.states else []:
            wide = 52 + _width(words, _SMALL + 1)
            if x > _PAD and x + wide > self._right:
                x, self._y = _PAD, self._y + 24
            yield from _boxed(_Box(kind, ("value",)), x, self._y, 46)
            yield _text(x + 52, self._y + 13, words, size=_SMALL + 1)
            x += 14 + wide
        self._y += 26 if self._drawn.states else 0
        yield _number_box(_PAD, self._y + 1, 46, "7", hold=True)
        yield _text(_PAD + 52, self._y + 13, "a hold: signed before anything after it begins", size=_SMALL + 1)
        if any(edge.by_place for group in self._groups for edge in group.after):
            x = _PAD + 340
            yield _path(f"M{x:g} {self._y + 9:g}H{x + 34:g}", dashed=True)
            yield _text(x + 42, self._y + 13, "each place waits for its own", size=_SMALL + 1)

    def _lane_lines(self, top: float, bottom: float) -> Iterator[str]:
        x = self._lanes_x
        for state, wide in zip(self._drawn.states, self._wide, strict=True):
            lines = _wrapped(state.title[:1].upper() + state.title[1:], wide - 8, _SIZE)
            for number, line in enumerate(lines):
                y = top - 8 - _LINE * (len(lines) - 1 - number)
                yield _text(x + wide / 2, y, line, anchor="middle", bold=True)
            yield f'<path d="M{x + wide / 2:g} {top:g}V{bottom:g}" stroke="#999" stroke-width="1"/>'
            x += wide

    def _lane_width(self, lane: int) -> float:
        state = self._drawn.states[lane]
        spare = " or" if len(state.values) > 2 else ""
        longest = max((_width(value.words + spare, _SIZE) for value in state.values), default=0.0)
        return min(max(longest + 18, _width(state.title, _SIZE) + 18, _LANE_LEAST), _LANE_MOST)

    # --- rows -------------------------------------------------------------------------------------

    def _rows(self) -> tuple[list[_PictureRow], list[_PictureRow]]:
        """All rows, and those of the groups, by number of the group."""
        drawn, names = self._drawn, self._names
        rows = []
        if drawn.states:
            start = {s.name: next((v.words for v in s.values if v.value == s.start), "asked for") for s in drawn.states}
            boxes: Mapping[int, tuple[_Box, ...]] = {
                self._lane[s.name]: (self._box("then" if s.start else "in hand", self._lane[s.name], start[s.name]),)
                for s in drawn.states
            }
            rows.append(self._add("", ("How it stands at the start",), boxes=boxes))
        by_group: dict[str, _PictureRow] = {}
        for section in drawn.sections:
            rows.append(self._add("", (section.title,), heading=True))
            for group in self._groups:
                if group.first.id in section.operations:
                    by_group[group.first.id] = self._operation(group)
                    rows.append(by_group[group.first.id])
        if drawn.moves:
            rows.append(self._add("", ("Moves, made between operations as often as needed",), heading=True))
        for move in drawn.moves:
            boxes = self._boxes(move.needs, {}, move.sets, None)
            rows.append(self._add(move.letter, self._title_lines(move.title), boxes=boxes))
        if drawn.rules:
            rows.append(self._add("", ("Never together",), heading=True))
        for rule in drawn.rules:
            never = {
                self._lane[name]: (self._box("never", self._lane[name], *(names.value(name, v) for v in values)),)
                for name, values in rule.never.items()
            }
            at = names.ways(rule.operations, rule.moves)
            notes = _wrapped(f"watched at {', '.join(at)}", _TITLE, _SMALL) if at else ()
            rows.append(self._add("×", self._title_lines(rule.because[:1].upper() + rule.because[1:]), notes, never))
        return rows, [by_group[group.first.id] for group in self._groups]

    def _operation(self, group: OperationGroup) -> _PictureRow:
        first = group.first
        notes = [line for told in self._names.window(group) for line in _wrapped(told, _TITLE, _SMALL)]
        if first.sign:
            notes.append(f"hold: signed by {first.sign}")
        boxes = self._boxes(first.needs, first.during, first.sets, group)
        return self._add(group.numbers, self._title_lines(group.title), tuple(notes), boxes, hold=bool(first.sign))

    def _boxes(
        self,
        needs: dict[str, tuple[str, ...]],
        during: dict[str, str],
        sets: dict[str, str],
        group: OperationGroup | None,
    ) -> Mapping[int, tuple[_Box, ...]]:
        names = self._names
        boxes: dict[int, list[_Box]] = {}
        for name, values in needs.items():
            by = names.brought_by(group, name, values) if group is not None else []
            words = [names.value(name, value) for value in values]
            boxes.setdefault(self._lane[name], []).append(self._box("needs", self._lane[name], *words, by=by))
        settings: tuple[tuple[Kind, dict[str, str]], ...] = (("in hand", during), ("then", sets))
        for kind, written in settings:
            for name, value in written.items():
                box = self._box(kind, self._lane[name], names.value(name, value))
                boxes.setdefault(self._lane[name], []).append(box)
        return {lane: tuple(stack) for lane, stack in boxes.items()}

    def _box(self, kind: Kind, lane: int, *values: str, by: Sequence[str] = ()) -> _Box:
        """Several values stand below each other, with "or" between them."""
        inside = self._wide[lane] - 14
        words = [f"{value} or" for value in values[:-1]] + list(values[-1:])
        small = [one.removeprefix("move ").removeprefix("the ") for one in by]
        told = _wrapped(f"← {', '.join(small)}", inside, _SMALL) if small else ()
        return _Box(kind, tuple(line for each in words for line in _wrapped(each, inside, _SIZE)), told)

    def _title_lines(self, title: str) -> tuple[str, ...]:
        return _wrapped(title, _TITLE, _SIZE)

    def _add(
        self,
        head: str,
        lines: tuple[str, ...],
        notes: tuple[str, ...] = (),
        boxes: Mapping[int, tuple[_Box, ...]] | None = None,
        *,
        heading: bool = False,
        hold: bool = False,
    ) -> _PictureRow:
        row = _PictureRow(self._y, head, lines, notes, boxes or {}, heading, hold)
        self._y += row.height
        return row

    # --- drawing a row ----------------------------------------------------------------------------

    def _row(self, row: _PictureRow) -> Iterator[str]:
        y = row.y + 4 + _LINE - 3
        if row.heading:
            yield f'<path d="M{self._title_x:g} {row.y + 24:g}H{self._right:g}" stroke="#000" stroke-width="1.5"/>'
            yield _text(self._title_x, row.y + 19, row.lines[0], size=13, bold=True, halo=True)
            return
        if row.head:
            yield _number_box(self._number_x, row.y + 3, _NUMBER, row.head, hold=row.hold)
        for line in row.lines:
            yield _text(self._title_x, y, line)
            y += _LINE
        for note in row.notes:
            yield _text(self._title_x, y, note, size=_SMALL)
            y += _SMALL + 2
        yield from self._row_boxes(row)

    def _row_boxes(self, row: _PictureRow) -> Iterator[str]:
        lefts = [self._lanes_x + sum(self._wide[:lane]) for lane in range(len(self._wide))]
        if len(row.boxes) > 1 and any(box.kind == "never" for stack in row.boxes.values() for box in stack):
            ends = sorted(lefts[lane] + self._wide[lane] / 2 for lane in row.boxes)
            yield f'<path d="M{ends[0]:g} {row.y + 14:g}H{ends[-1]:g}" stroke="#000" stroke-width="3"/>'
        for lane, stack in row.boxes.items():
            y = row.y + 3
            for box in stack:
                yield from _boxed(box, lefts[lane] + 3, y, self._wide[lane] - 6)
                y += box.height + 3


# --- the lines of the order -------------------------------------------------------------------------


class _Track(Struct, frozen=True):
    """One line down the left: from a group to all that come after it. ``rail`` is its place from the right, ``None``
    where it runs straight down into the next row. ``by_place`` are the targets whose places wait for their own."""

    source: int
    targets: tuple[int, ...]
    by_place: frozenset[int]
    rail: int | None


def _tracks(groups: Sequence[OperationGroup]) -> tuple[list[_Track], int]:
    """The tracks, short ones nearest to the numbers, and how many rails they need side by side."""
    targets: dict[int, list[int]] = {}
    by_place: dict[int, set[int]] = {}
    for index, group in enumerate(groups):
        for edge in group.after:
            targets.setdefault(edge.group, []).append(index)
            if edge.by_place:
                by_place.setdefault(edge.group, set()).add(index)
    tracks: list[_Track] = []
    rails: list[list[tuple[int, int]]] = []
    spans = sorted(targets.items(), key=lambda item: (max(*item[1], item[0]) - min(*item[1], item[0]), item[0]))
    for source, all_targets in spans:
        own = frozenset(by_place.get(source, ()))
        if source + 1 in all_targets:
            tracks.append(_Track(source, (source + 1,), own, None))
        far = tuple(target for target in all_targets if target != source + 1)
        if not far:
            continue
        span = min(source, *far), max(source, *far)
        rail = next((i for i, taken in enumerate(rails) if all(_apart(span, other) for other in taken)), len(rails))
        if rail == len(rails):
            rails.append([])
        rails[rail].append(span)
        tracks.append(_Track(source, far, own, rail))
    return tracks, len(rails)


def _apart(one: tuple[int, int], other: tuple[int, int]) -> bool:
    return one[1] <= other[0] or other[1] <= one[0]


def _order_lines(tracks: Iterable[_Track], rows: Sequence[_PictureRow], number_x: float) -> Iterator[str]:
    for track in tracks:
        source = rows[track.source]
        if track.rail is None:
            yield from _straight(source, rows[track.targets[0]], number_x + _NUMBER / 2, dashed=bool(track.by_place))
            continue
        x = number_x - 14 - track.rail * _RAIL
        out = source.middle + 3
        ends = [rows[target].middle - 3 for target in track.targets]
        yield _path(f"M{number_x:g} {out:g}H{x:g}")
        yield _path(f"M{x:g} {min(out, *ends):g}V{max(out, *ends):g}")
        for target, end in zip(track.targets, ends, strict=True):
            yield _path(f"M{x:g} {end:g}H{number_x - 5:g}", dashed=target in track.by_place)
            yield f'<path d="M{number_x:g} {end:g}l-6 -3v6z"/>'
            if end != max(ends):
                yield f'<circle cx="{x:g}" cy="{end:g}" r="2.2"/>'


def _straight(source: _PictureRow, target: _PictureRow, x: float, *, dashed: bool) -> Iterator[str]:
    yield _path(f"M{x:g} {source.middle + 9:g}V{target.y - 1:g}", dashed=dashed)
    yield f'<path d="M{x:g} {target.y + 3:g}l-3 -6h6z"/>'


def _path(d: str, *, dashed: bool = False) -> str:
    dashes = ' stroke-dasharray="3 2"' if dashed else ""
    return f'<path d="{d}" fill="none" stroke="#000" stroke-width="1"{dashes}/>'


# --- marks ------------------------------------------------------------------------------------------


def _boxed(box: _Box, x: float, y: float, wide: float) -> Iterator[str]:
    frame, ink = _BOXES[box.kind]
    yield f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{box.height:g}" rx="3" {frame}/>'
    y += _LINE - 2
    for line in box.lines:
        yield _text(x + wide / 2, y + 1, line, anchor="middle", ink=ink)
        y += _LINE
    y -= _LINE - _SMALL - 1
    for line in box.small:
        yield _text(x + wide / 2, y, line, size=_SMALL, anchor="middle", ink=ink)
        y += _SMALL + 1


def _number_box(x: float, y: float, wide: float, words: str, *, hold: bool) -> str:
    frame = f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="17" fill="#fff" stroke="#000" stroke-width="1.2"/>'
    if hold:
        frame += f'<rect x="{x + 3:g}" y="{y + 3:g}" width="{wide - 6:g}" height="11" fill="none" stroke="#000"/>'
    return frame + _text(x + wide / 2, y + 12.5, words, anchor="middle", size=11, bold=True)


def _text(
    x: float,
    y: float,
    words: str,
    *,
    size: float = _SIZE,
    anchor: str = "start",
    bold: bool = False,
    ink: str = "#000",
    halo: bool = False,
) -> str:
    more = ' font-weight="bold"' if bold else ""
    more += ' stroke="#fff" stroke-width="4" paint-order="stroke"' if halo else ""
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" text-anchor="{anchor}" fill="{ink}"{more}>'
        f"{escape(clean_line(words))}</text>"
    )


def _wrapped(words: str, room: float, size: float) -> tuple[str, ...]:
    """``words`` in lines of at most ``room``, by a guess of how wide a sans-serif letter is."""
    return tuple(textwrap.wrap(clean_line(words), max(int(room / (size * 0.54)), 6))) or ("",)


def _width(words: str, size: float) -> float:
    return len(clean_line(words)) * size * 0.56
