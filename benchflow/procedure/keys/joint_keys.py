"""The key `joints`: joints with the layout of their fasteners."""

import re
from typing import Any

from benchflow.procedure.joint_layouts import (
    EMPTY,
    MOST_FASTENERS,
    Layout,
    drawn_cells,
    grid,
    middle_out_layout,
    star_layout,
)
from benchflow.procedure.keys.grip_keys import GRIP
from benchflow.procedure.keys.setup_keys import title_from_name
from benchflow.procedure.keys.source_keys import SOURCE
from benchflow.procedure.keys.tolerance_keys import TOLERANCE
from benchflow.procedure.model import NO_SIDES, NO_TOLERANCE, Joint, JointSides, Ref
from benchflow.procedure.shapes.asked_shapes import AskedText, FigureOrAskShape
from benchflow.procedure.shapes.basic_shapes import (
    LINE,
    TEXT_SCHEMA,
    BooleanShape,
    FactorShape,
    IntegerShape,
    ListShape,
    MapShape,
    TextShape,
    integer,
)
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar, short
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode, YamlScalar

_CROSSWISE = re.compile(r"star|cross|criss|diagonal|opposite|altern|flange|circle", re.IGNORECASE)
_FROM_MIDDLE = re.compile(r"middle|cent(?:re|er)|inside|outward|spiral", re.IGNORECASE)


def _words_hint(text: str) -> str:
    """The hint for a layout or a pattern in words, such as ``crosswise``."""
    number = re.search(r"\b([0-9]{1,2})\b", text)
    if _FROM_MIDDLE.search(text):
        return "Write `pattern: out from the middle, 2 by 5` for 2 rows of 5 fasteners"
    if _CROSSWISE.search(text):
        size = number[1] if number and 3 <= int(number[1]) <= 24 else "8"
        return f"Write `pattern: star {size}` for {size} fasteners that are tightened crosswise"
    return (
        "Write `pattern: star 8` for 8 fasteners crosswise, `pattern: out from the middle, 2 by 5`, or draw the joint "
        "under `layout`: rows of numbers in tightening order"
    )


def _count_hint(count: int) -> str:
    """The hint for a joint that has only the number of its fasteners."""
    crosswise = f"`pattern: star {count}` if they are tightened crosswise, " if 3 <= count <= 24 else ""
    return (
        f"For {count} fasteners write {crosswise}`layout: ask` with `count: {count}` if the bench has to ask for the "
        "order, or draw the joint under `layout`"
    )


class _Drawing(Shape[Layout]):
    """A layout drawn as text, one row per line."""

    noun = "a drawing of the joint: rows of numbers, `.` for an empty cell"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> Layout | None:
        found = scalar(node, self.noun, context)
        if found is None or not self._numbered(found, context):
            return None
        return grid([row for row in (drawn_cells(line) for line in found.text.split("\n")) if row])

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {**TEXT_SCHEMA, "pattern": r"\S"}

    def _numbered(self, found: YamlScalar, context: ReadContext) -> bool:
        """True if the numbers are 1..n, each once. A problem is reported at its cell."""
        seen: dict[int, int] = {}
        good, in_words = True, "\n" not in found.text.strip()
        for cell in re.finditer(r"\S+", found.text):
            if cell[0] in EMPTY:
                continue
            number = integer(cell[0])
            if number is None and in_words and not any(letter.isdigit() for letter in cell[0]):
                context.problem(
                    "bad-layout", found.mark, f"`{short(found.text)}` is not a layout", _words_hint(found.text)
                )
                return False
            if number is None or not 1 <= number <= MOST_FASTENERS:
                hint = "Write a fastener's number, or `.` for an empty cell"
                context.problem(
                    "bad-layout", found.at(cell.start()), f"`{cell[0][:20]}` is not the number of a fastener", hint
                )
                good = False
            elif number in seen:
                context.problem(
                    "bad-layout",
                    found.at(cell.start()),
                    f"The number {number} occurs twice",
                    "Number the fasteners from 1 in tightening order, each number once",
                )
                good = False
            else:
                seen[number] = cell.start()
        if good and len(seen) == 1 and max(seen) > 2:
            context.problem(
                "bad-layout", found.mark, f"The layout has only the number {max(seen)}", _count_hint(max(seen))
            )
            return False
        if good and set(seen) != set(range(1, len(seen) + 1)):
            missing = sorted(set(range(1, max(seen) + 1)) - set(seen))
            listed = ", ".join(map(str, missing[:8])) + (", ..." if len(missing) > 8 else "")
            context.problem(
                "bad-layout",
                found.at(seen[max(seen)]),
                f"The numbers go up to {max(seen)}, but {listed} {'is' if len(missing) == 1 else 'are'} missing",
                "Number the fasteners from 1 in tightening order, each number once",
            )
            good = False
        if good and not seen:
            context.problem(
                "bad-layout",
                found.mark,
                "The layout has no fastener",
                "Number the fasteners from 1 in tightening order",
            )
            good = False
        return good


class _Pattern(Shape[tuple[str, Layout]]):
    """A layout given by a pattern and its size."""

    noun = "a pattern such as `star 8` or `out from the middle, 2 by 5`"
    _star = re.compile(r"star\s+([0-9]{1,4})")
    _middle = re.compile(r"out\s+from\s+the\s+middle\s*,?\s*([0-9]{1,4})\s*(?:by|x|×)\s*([0-9]{1,4})")

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> tuple[str, Layout] | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        text = found.text.strip()
        star, middle = self._star.fullmatch(text), self._middle.fullmatch(text)
        try:
            if star:
                return text, star_layout(int(star[1]))
            if middle:
                return text, middle_out_layout(int(middle[1]), int(middle[2]))
        except ValueError as error:
            context.problem("bad-layout", found.mark, str(error), "Draw the joint with `layout`")
            return None
        hint = _count_hint(int(text)) if integer(text) else _words_hint(text)
        context.problem("bad-layout", found.mark, f"`{text[:40]}` is not a known pattern", hint)
        return None

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {
            "type": "string",
            "pattern": r"^\s*(star\s+[0-9]+|out\s+from\s+the\s+middle\s*,?\s*[0-9]+\s*(by|x|×)\s*[0-9]+)\s*$",
        }


_SIDE = TextShape("a side of a joint", longest=24)
_LEFT = Key("left", _SIDE, "What is on the left of the layout.", examples=("front",))
_RIGHT = Key("right", _SIDE, "What is on its right.", examples=("flywheel end",))
_TOP = Key("top", _SIDE, "What is above it.", examples=("exhaust side",))
_BOTTOM = Key("bottom", _SIDE, "What is below it.", examples=("intake side",))


def _joint_sides(fields: Fields) -> JointSides:
    return JointSides(*(fields.get_or(key, "") for key in (_LEFT, _RIGHT, _TOP, _BOTTOM)))


_SIDES = KeyedShape(
    "sides",
    "the key `sides`",
    (_LEFT, _RIGHT, _TOP, _BOTTOM),
    _joint_sides,
    some_of=(_LEFT, _RIGHT, _TOP, _BOTTOM),
)

_TITLE = Key("title", LINE, "The title.")
_ASKED = FigureOrAskShape(LINE)
_THREAD = Key(
    "thread",
    _ASKED,
    "The thread, such as M10x1.25 or 1/2-20 UNF. `ask` if it is still to be filled in.",
    examples=("M10x1.25",),
)
_CLASS = Key(
    "class",
    _ASKED,
    "Property class or grade of the fastener; put it in quotes. `ask` if it is still to be filled in.",
    examples=("10.9",),
)
_LUBRICANT = Key(
    "lubricant",
    _ASKED,
    "The lubricant on thread and bearing face that the torque is given for. `ask` if it is still to be filled in: the "
    "bench then asks for it, with its source, before the joint can be tightened.",
    examples=("engine oil", "ask"),
)
_NUT_FACTOR = Key(
    "nut-factor",
    FactorShape(within=("0.03", "0.6")),
    "The nut factor K in T = K d F, for the estimated preload: 0.03 to 0.6, usually 0.1 to 0.3.",
    examples=(0.15,),
)
_LAYOUT = Key(
    "layout",
    FigureOrAskShape(_Drawing()),
    "The fasteners seen from above, one row per line, numbered in tightening order; `.` is an empty cell. `ask` if the "
    "order is still to be filled in: the bench then asks for the rows, with their source, before the first fastener.",
    examples=("9 5 1 4 8\n10 6 2 3 7\n", "ask"),
)
_COUNT = Key(
    "count",
    IntegerShape(1, MOST_FASTENERS),
    "The number of fasteners. Only for `layout: ask`: a layout has the number itself.",
)
_PATTERN = Key(
    "pattern",
    _Pattern(),
    "Instead of a layout: `star 8` (cross pattern of a flange, 3 to 24 bolts) or `out from the middle, 2 by 5`.",
    examples=("star 8",),
)
_SIDES_OF_LAYOUT = Key(
    "sides",
    _SIDES,
    "What is on each side of the layout: `left`, `right`, `top`, `bottom`, or some of them. Pictures show it.",
    examples=({"left": "front", "right": "flywheel end"},),
)
_GROUPS = Key(
    "groups",
    MapShape(ListShape(IntegerShape(1, MOST_FASTENERS), at_least=1, distinct=True), "groups of fasteners by name"),
    "Groups of fasteners for stages with `only`: each name with the numbers of its fasteners.",
)
_TOLERANCE = Key(
    "tolerance",
    TOLERANCE,
    "How far a reading may be from a stage that is one quantity. `tighten` can have its own.",
    examples=("4 %", {"torque": "4 %", "angle": "3°"}),
)
_LEFT_HAND = Key("left-hand", BooleanShape(), "True for a left-hand thread, which is tightened counter-clockwise.")
_TO_YIELD = Key("to-yield", BooleanShape(), "True if the fasteners are tightened beyond their proof load on purpose.")
_GRIP = Key(
    "grip",
    GRIP,
    "The segments of a bolt between head and nut, for the estimated stretch.",
    examples=([{"shank": "80 mm", "diameter": "10 mm"}, {"thread": "15 mm"}],),
)


def _text(fields: Fields, key: Key[str | AskedText]) -> str:
    """The text of a key; "" if it is not written, or still to be filled in."""
    written = fields.get(key)
    return written if isinstance(written, str) else ""


_CAN_BE_ASKED: tuple[Key[Any], ...] = (_LAYOUT, _THREAD, _CLASS, _LUBRICANT)


def _missing_layout_hint(fields: Fields) -> str:
    count = fields.get(_COUNT)
    return "Write one of them" if count is None else _count_hint(count)


def _joint(fields: Fields) -> Joint:
    pattern, drawn = fields.get(_PATTERN), fields.get(_LAYOUT)
    layout: Layout = pattern[1] if pattern else ()
    if isinstance(drawn, AskedText):
        layout = (tuple(range(1, fields.get_or(_COUNT, 1) + 1)),)
    elif fields.wrote(_COUNT) and (fields.wrote(_LAYOUT) or fields.wrote(_PATTERN)):
        says = "pattern" if fields.wrote(_PATTERN) else "layout"
        fields.problem("one-too-many", _COUNT, f"The {says} says how many fasteners there are", "Delete `count`")
    if drawn is not None and not isinstance(drawn, AskedText):
        layout = drawn
    count = sum(number is not None for row in layout for number in row)
    groups = fields.get_or(_GROUPS, {})
    for name, numbers in groups.items():
        beyond = [number for number in numbers if count and number > count]
        if beyond:
            fields.problem(
                "unknown-name",
                _GROUPS,
                f"The group `{name}` has fastener {beyond[0]}, but the joint has only {count}",
                "Use the numbers of the layout",
            )
    joint = Joint(
        fields.name.name,
        fields.get_or(_TITLE, title_from_name(fields.name.name)),
        layout,
        count,
        _text(fields, _THREAD),
        _text(fields, _CLASS),
        _text(fields, _LUBRICANT),
        fields.get(_NUT_FACTOR),
        groups,
        pattern[0] if pattern else "",
        fields.mark,
        fields.get_or(_TOLERANCE, NO_TOLERANCE),
        fields.get_or(_LEFT_HAND, False),
        fields.get_or(_TO_YIELD, False),
        fields.get_or(_GRIP, ()),
        fields.at(_THREAD),
        fields.at(_CLASS),
        fields.at(_GRIP),
        fields.get_or(_SIDES_OF_LAYOUT, NO_SIDES),
        {key.name: written.mark for key in _CAN_BE_ASKED if isinstance(written := fields.get(key), AskedText)},
        fields.get_or(SOURCE, ""),
    )
    fields.context.nodes["tolerance", joint.mark] = fields.nodes.get("tolerance", fields.node)
    return joint


JOINTS = MapShape(
    KeyedShape(
        "joint",
        "a joint",
        (
            _TITLE,
            _THREAD,
            _CLASS,
            _LUBRICANT,
            _NUT_FACTOR,
            _LAYOUT,
            _COUNT,
            _PATTERN,
            _SIDES_OF_LAYOUT,
            _GROUPS,
            _TOLERANCE,
            _LEFT_HAND,
            _TO_YIELD,
            _GRIP,
            SOURCE,
        ),
        _joint,
        one_of=(_LAYOUT, _PATTERN),
        one_of_hint=_missing_layout_hint,
    ),
    "joints by name",
)
