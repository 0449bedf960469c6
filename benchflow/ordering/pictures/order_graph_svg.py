"""The order of a build as an SVG picture: a row for each operation, a lane for each state.

Lines on the left show prerequisites. They are drawn as in a wiring diagram: lines join at a dot, and cross without
one. A box in a lane is a value of that state. A white box is needed before the operation. A dashed box is the value
while it is in progress, a black box the value after it. Moves and rules have their own rows in the same lanes. No
information is shown by colour alone, so the picture can be printed in black and white.
"""

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Literal

from msgspec import Struct

from benchflow.base.plaintext import clean_line
from benchflow.base.svg import Svg
from benchflow.ordering.pictures.order_graph import OperationGroup, OrderGraph
from benchflow.ordering.pictures.order_graph_text import GraphNames
from benchflow.ordering.pictures.order_tracks import Track, lay_tracks

_SIZE, _SMALL, _LINE = 12.0, 10.0, 14.0
"""Font sizes, and the height of a line of text, in user units."""
_PAD, _RAIL, _NUMBER, _TITLE = 16.0, 9.0, 50.0, 300.0
"""Margin of the page, and widths of a rail, the number box and the title column."""
_LANE_LEAST, _LANE_MOST = 74.0, 118.0

BoxKind = Literal["needs", "in progress", "then", "never"]
_FRAMES: dict[BoxKind, dict[str, float | str]] = {
    "needs": {"fill": "#fff", "stroke": "#000", "stroke-width": 1},
    "in progress": {"fill": "#fff", "stroke": "#000", "stroke-width": 1.5, "stroke-dasharray": "4 2"},
    "then": {"fill": "#000", "stroke": "#000", "stroke-width": 1},
    "never": {"fill": "#fff", "stroke": "#000", "stroke-width": 3},
}


class _SvgElement(Struct, frozen=True):
    """An SVG element to draw. ``text`` is the text of a text element."""

    tag: str
    attributes: dict[str, float | str]
    text: str = ""


class _Box(Struct, frozen=True):
    """A value in a lane. ``lines`` is its text. ``small`` are lines in small print that name what sets the value."""

    kind: BoxKind
    lines: tuple[str, ...]
    small: tuple[str, ...] = ()

    @property
    def height(self) -> float:
        return len(self.lines) * _LINE + len(self.small) * (_SMALL + 1) + 5


class _PictureRow(Struct, frozen=True):
    """A row of the picture.

    ``label`` is the text of the number box. A ``heading`` has no box and spans the page. ``boxes`` are the
    boxes by the index of their lane.
    """

    y: float
    label: str
    lines: tuple[str, ...]
    notes: tuple[str, ...] = ()
    boxes: Mapping[int, tuple[_Box, ...]] = {}
    heading: bool = False
    hold: bool = False

    @property
    def height(self) -> float:
        text = len(self.lines) * _LINE + len(self.notes) * (_SMALL + 2)
        boxes = max((sum(box.height + 3 for box in stack) for stack in self.boxes.values()), default=0.0)
        return max(text, boxes) + (14 if self.heading else 12)

    @property
    def middle(self) -> float:
        """The y where prerequisite lines meet the row: level with its first line of text."""
        return self.y + 4 + _LINE / 2


def order_graph_svg(graph: OrderGraph, groups: Sequence[OperationGroup]) -> str:
    """The picture as the text of an SVG file."""
    return _OrderPicture(graph, groups).svg()


class _OrderPicture:
    def __init__(self, graph: OrderGraph, groups: Sequence[OperationGroup]) -> None:
        self._graph = graph
        self._groups = groups
        self._names = GraphNames(graph, groups)
        self._lane = {state.name: index for index, state in enumerate(graph.states)}
        self._wide = [self._lane_width(index) for index in range(len(graph.states))]
        self._tracks, self._rails = lay_tracks(groups)
        self._number_x = _PAD + 14 + self._rails * _RAIL
        self._title_x = self._number_x + _NUMBER + 10
        self._lanes_x = self._title_x + _TITLE + 12
        self._right = max(self._lanes_x + sum(self._wide), self._title_x + 520)
        self._y = 0.0

    def svg(self) -> str:
        """Lay out all marks from top to bottom, then draw them on a page of the height that they need."""
        header = list(self._header())
        lanes_top = self._y
        rows, group_rows = self._rows()
        marks = [*header, *self._lane_lines(lanes_top, self._y)]
        marks += _prerequisite_lines(self._tracks, group_rows, self._number_x)
        for row in rows:
            marks += self._draw_row(row)
        picture = Svg(self._right + _PAD, self._y + _PAD, f"The order of {self._graph.title}")
        for mark in marks:
            element = picture.add(mark.tag, **mark.attributes)
            if mark.text:
                element.text = clean_line(mark.text)
        return f"{picture}\n"

    # --- above the rows ---------------------------------------------------------------------------

    def _header(self) -> Iterator[_SvgElement]:
        graph = self._graph
        self._y = _PAD + 20
        yield _text(_PAD, self._y, f"{graph.title}, revision {graph.revision}", size=20, bold=True)
        about = [graph.notice] if graph.notice else []
        if graph.options:
            about.append("For " + ", ".join(f"{name}: {choice}" for name, choice in graph.options.items()) + ".")
        for line in (line for text in about for line in _wrapped(text, self._right - _PAD, _SIZE)):
            self._y += _LINE + 1
            yield _text(_PAD, self._y, line)
        self._y += 16
        yield from self._legend()
        heads = [_wrapped(state.title, wide - 8, _SIZE) for state, wide in zip(graph.states, self._wide, strict=True)]
        self._y += 34 + _LINE * max(map(len, heads), default=0)

    def _legend(self) -> Iterator[_SvgElement]:
        kinds: dict[BoxKind, str] = {
            "needs": "value needed to start",
            "in progress": "value while in progress",
            "then": "value after it",
            "never": "never together",
        }
        x = _PAD
        for kind, text in kinds.items() if self._graph.states else ():
            wide = 52 + _text_width(text, _SMALL + 1)
            if x > _PAD and x + wide > self._right:
                x, self._y = _PAD, self._y + 24
            yield from _draw_box(_Box(kind, ("value",)), x, self._y, 46)
            yield _text(x + 52, self._y + 13, text, size=_SMALL + 1)
            x += 14 + wide
        self._y += 26 if self._graph.states else 0
        yield from _number_box(_PAD, self._y + 1, 46, "7", hold=True)
        yield _text(_PAD + 52, self._y + 13, "hold: sign before later operations start", size=_SMALL + 1)
        if any(edge.by_place for group in self._groups for edge in group.after):
            x = _PAD + 340
            yield _line(f"M{x:g} {self._y + 9:g}H{x + 34:g}", dashed=True)
            yield _text(x + 42, self._y + 13, "each place waits for its own", size=_SMALL + 1)

    def _lane_lines(self, top: float, bottom: float) -> Iterator[_SvgElement]:
        x = self._lanes_x
        for state, wide in zip(self._graph.states, self._wide, strict=True):
            lines = _wrapped(state.title[:1].upper() + state.title[1:], wide - 8, _SIZE)
            for number, line in enumerate(lines):
                y = top - 8 - _LINE * (len(lines) - 1 - number)
                yield _text(x + wide / 2, y, line, anchor="middle", bold=True)
            yield _SvgElement(
                "path", {"d": f"M{x + wide / 2:g} {top:g}V{bottom:g}", "stroke": "#999", "stroke-width": 1}
            )
            x += wide

    def _lane_width(self, lane: int) -> float:
        state = self._graph.states[lane]
        spare = " or" if len(state.values) > 2 else ""
        longest = max((_text_width(value.words + spare, _SIZE) for value in state.values), default=0.0)
        return min(max(longest + 18, _text_width(state.title, _SIZE) + 18, _LANE_LEAST), _LANE_MOST)

    # --- rows -------------------------------------------------------------------------------------

    def _rows(self) -> tuple[list[_PictureRow], list[_PictureRow]]:
        """All rows of the picture, and the row of each group in the order of the groups."""
        graph = self._graph
        rows = list(self._start_row()) if graph.states else []
        by_group: dict[str, _PictureRow] = {}
        for section in graph.sections:
            rows.append(self._add_row("", (section.title,), heading=True))
            for group in self._groups:
                if group.first.id in section.operations:
                    by_group[group.first.id] = self._operation_row(group)
                    rows.append(by_group[group.first.id])
        if graph.moves:
            rows.append(self._add_row("", ("Moves, made between operations as often as needed",), heading=True))
        for move in graph.moves:
            boxes = self._boxes(move.needs, move.during, move.sets, None)
            rows.append(self._add_row(move.letter, self._title_lines(move.title), boxes=boxes))
        rows += self._rule_rows()
        return rows, [by_group[group.first.id] for group in self._groups]

    def _start_row(self) -> Iterator[_PictureRow]:
        boxes: dict[int, tuple[_Box, ...]] = {}
        for state in self._graph.states:
            text = next((value.words for value in state.values if value.value == state.start), "asked for")
            lane = self._lane[state.name]
            boxes[lane] = (self._box("then" if state.start else "in progress", lane, text),)
        yield self._add_row("", ("State at the start",), boxes=boxes)

    def _operation_row(self, group: OperationGroup) -> _PictureRow:
        first = group.first
        notes = [line for window in self._names.windows(group) for line in _wrapped(window, _TITLE, _SMALL)]
        if first.sign:
            notes.append(f"hold: signed by {first.sign}")
        if group.order:
            notes += _wrapped(f"in the order {', '.join(group.order)}", _TITLE, _SMALL)
        if first.condition:
            notes += _wrapped(first.condition, _TITLE, _SMALL)
        boxes = self._boxes(first.needs, first.during, first.sets, group)
        return self._add_row(group.numbers, self._title_lines(group.title), tuple(notes), boxes, hold=bool(first.sign))

    def _rule_rows(self) -> Iterator[_PictureRow]:
        names = self._names
        if self._graph.rules:
            yield self._add_row("", ("Never together",), heading=True)
        for rule in self._graph.rules:
            boxes = {
                self._lane[name]: (self._box("never", self._lane[name], *(names.value(name, v) for v in values)),)
                for name, values in rule.never.items()
            }
            checked = names.actions(rule.operations, rule.moves)
            notes = _wrapped(f"checked at {', '.join(checked)}", _TITLE, _SMALL) if checked else ()
            yield self._add_row("×", self._title_lines(rule.because[:1].upper() + rule.because[1:]), notes, boxes)

    def _boxes(
        self,
        needs: dict[str, tuple[str, ...]],
        during: dict[str, str],
        sets: dict[str, str],
        group: OperationGroup | None,
    ) -> Mapping[int, tuple[_Box, ...]]:
        """The boxes by lane, for an operation or a move. For a move, ``group`` is ``None``."""
        names = self._names
        boxes: dict[int, list[_Box]] = {}
        for name, values in needs.items():
            setters = names.setters(group, name, values) if group is not None else []
            texts = [names.value(name, value) for value in values]
            boxes.setdefault(self._lane[name], []).append(self._box("needs", self._lane[name], *texts, setters=setters))
        settings: tuple[tuple[BoxKind, dict[str, str]], ...] = (("in progress", during), ("then", sets))
        for kind, written in settings:
            for name, value in written.items():
                box = self._box(kind, self._lane[name], names.value(name, value))
                boxes.setdefault(self._lane[name], []).append(box)
        return {lane: tuple(stack) for lane, stack in boxes.items()}

    def _box(self, kind: BoxKind, lane: int, *values: str, setters: Sequence[str] = ()) -> _Box:
        """A box with its text wrapped. Several values are listed one below the other, with "or" between them."""
        inside = self._wide[lane] - 14
        texts = [f"{value} or" for value in values[:-1]] + list(values[-1:])
        short = [setter.removeprefix("move ").removeprefix("the ") for setter in setters]
        small = _wrapped(f"← {', '.join(short)}", inside, _SMALL) if short else ()
        return _Box(kind, tuple(line for text in texts for line in _wrapped(text, inside, _SIZE)), small)

    def _title_lines(self, title: str) -> tuple[str, ...]:
        return _wrapped(title, _TITLE, _SIZE)

    def _add_row(
        self,
        label: str,
        lines: tuple[str, ...],
        notes: tuple[str, ...] = (),
        boxes: Mapping[int, tuple[_Box, ...]] | None = None,
        *,
        heading: bool = False,
        hold: bool = False,
    ) -> _PictureRow:
        row = _PictureRow(self._y, label, lines, notes, boxes or {}, heading, hold)
        self._y += row.height
        return row

    # --- drawing a row ----------------------------------------------------------------------------

    def _draw_row(self, row: _PictureRow) -> Iterator[_SvgElement]:
        y = row.y + 4 + _LINE - 3
        if row.heading:
            rule = f"M{self._title_x:g} {row.y + 24:g}H{self._right:g}"
            yield _SvgElement("path", {"d": rule, "stroke": "#000", "stroke-width": 1.5})
            yield _text(self._title_x, row.y + 19, row.lines[0], size=13, bold=True, halo=True)
            return
        if row.label:
            yield from _number_box(self._number_x, row.y + 3, _NUMBER, row.label, hold=row.hold)
        for line in row.lines:
            yield _text(self._title_x, y, line)
            y += _LINE
        for note in row.notes:
            yield _text(self._title_x, y, note, size=_SMALL)
            y += _SMALL + 2
        yield from self._row_boxes(row)

    def _row_boxes(self, row: _PictureRow) -> Iterator[_SvgElement]:
        lefts = [self._lanes_x + sum(self._wide[:lane]) for lane in range(len(self._wide))]
        if len(row.boxes) > 1 and any(box.kind == "never" for stack in row.boxes.values() for box in stack):
            ends = sorted(lefts[lane] + self._wide[lane] / 2 for lane in row.boxes)
            bar = f"M{ends[0]:g} {row.y + 14:g}H{ends[-1]:g}"
            yield _SvgElement("path", {"d": bar, "stroke": "#000", "stroke-width": 3})
        for lane, stack in row.boxes.items():
            y = row.y + 3
            for box in stack:
                yield from _draw_box(box, lefts[lane] + 3, y, self._wide[lane] - 6)
                y += box.height + 3


def _prerequisite_lines(tracks: Iterable[Track], rows: Sequence[_PictureRow], number_x: float) -> Iterator[_SvgElement]:
    for track in tracks:
        source = rows[track.source]
        if track.rail is None:
            yield from _straight_track(
                source, rows[track.targets[0]], number_x + _NUMBER / 2, dashed=bool(track.by_place)
            )
            continue
        x = number_x - 14 - track.rail * _RAIL
        out = source.middle + 3
        ends = [rows[target].middle - 3 for target in track.targets]
        yield _line(f"M{number_x:g} {out:g}H{x:g}")
        yield _line(f"M{x:g} {min(out, *ends):g}V{max(out, *ends):g}")
        for target, end in zip(track.targets, ends, strict=True):
            yield _line(f"M{x:g} {end:g}H{number_x - 5:g}", dashed=target in track.by_place)
            yield _SvgElement("path", {"d": f"M{number_x:g} {end:g}l-6 -3v6z"})
            if end != max(ends):
                yield _SvgElement("circle", {"cx": x, "cy": end, "r": 2.2})


def _straight_track(source: _PictureRow, target: _PictureRow, x: float, *, dashed: bool) -> Iterator[_SvgElement]:
    yield _line(f"M{x:g} {source.middle + 9:g}V{target.y - 1:g}", dashed=dashed)
    yield _SvgElement("path", {"d": f"M{x:g} {target.y + 3:g}l-3 -6h6z"})


# --- marks ------------------------------------------------------------------------------------------


def _line(d: str, *, dashed: bool = False) -> _SvgElement:
    dashes: dict[str, float | str] = {"stroke-dasharray": "3 2"} if dashed else {}
    return _SvgElement("path", {"d": d, "fill": "none", "stroke": "#000", "stroke-width": 1, **dashes})


def _draw_box(box: _Box, x: float, y: float, wide: float) -> Iterator[_SvgElement]:
    frame = _FRAMES[box.kind]
    ink = "#fff" if box.kind == "then" else "#000"
    yield _SvgElement("rect", {"x": x, "y": y, "width": wide, "height": box.height, "rx": 3, **frame})
    y += _LINE - 2
    for line in box.lines:
        yield _text(x + wide / 2, y + 1, line, anchor="middle", ink=ink)
        y += _LINE
    y -= _LINE - _SMALL - 1
    for line in box.small:
        yield _text(x + wide / 2, y, line, size=_SMALL, anchor="middle", ink=ink)
        y += _SMALL + 1


def _number_box(x: float, y: float, wide: float, text: str, *, hold: bool) -> Iterator[_SvgElement]:
    size: dict[str, float | str] = {"x": x, "y": y, "width": wide, "height": 17}
    yield _SvgElement("rect", {**size, "fill": "#fff", "stroke": "#000", "stroke-width": 1.2})
    if hold:
        inner: dict[str, float | str] = {"x": x + 3, "y": y + 3, "width": wide - 6, "height": 11}
        yield _SvgElement("rect", {**inner, "fill": "none", "stroke": "#000"})
    yield _text(x + wide / 2, y + 12.5, text, anchor="middle", size=11, bold=True)


def _text(
    x: float,
    y: float,
    text: str,
    *,
    size: float = _SIZE,
    anchor: str = "start",
    bold: bool = False,
    ink: str = "#000",
    halo: bool = False,
) -> _SvgElement:
    attributes: dict[str, float | str] = {"x": x, "y": y, "font-size": size, "text-anchor": anchor, "fill": ink}
    if bold:
        attributes["font-weight"] = "bold"
    if halo:
        attributes |= {"stroke": "#fff", "stroke-width": 4, "paint-order": "stroke"}
    return _SvgElement("text", attributes, text)


def _wrapped(text: str, width: float, size: float) -> tuple[str, ...]:
    """The text wrapped to ``width`` user units. Widths are estimated from the mean width of a sans-serif letter."""
    return tuple(textwrap.wrap(clean_line(text), max(int(width / (size * 0.54)), 6))) or ("",)


def _text_width(text: str, size: float) -> float:
    """Estimated width of the text in user units."""
    return len(clean_line(text)) * size * 0.56
