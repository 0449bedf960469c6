"""The figures of a procedure that are still to be filled in (`ask`), and the procedure with some of them filled in."""

from collections.abc import Iterator, Mapping
from typing import Literal, TypeVar

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.joint_layouts import layout_of_rows
from benchflow.procedure.model import (
    AskedLimit,
    Bound,
    CalculatedValue,
    EqualWithin,
    Fixed,
    GivenFrom,
    InstrumentNeed,
    Joint,
    Mark,
    OpenStage,
    Operation,
    OperationVariant,
    Procedure,
    ReadingTerms,
    RecordedValue,
    TimeSince,
    instruments_of,
    values_of,
)
from benchflow.procedure.problems import Problem
from benchflow.procedure.shapes.quantity_shapes import parse_plain_bound
from benchflow.quantity import parse_limit

JointKey = Literal["layout", "lubricant", "thread", "class"]
What = Literal[
    "limit", "used", "further", "torque", "angle", "layout", "lubricant", "thread", "class", "covers", "time"
]
"""The kind of a figure: a limit of a value (main, for used parts, further), of a stage, a text of a joint ..."""

V = TypeVar("V", RecordedValue, CalculatedValue)


class FigureToFill(Struct, frozen=True):
    """A figure that is still to be filled in.

    ``name`` is the value, joint or instrument; for a time window, the operation that has it. ``number`` is the stage,
    or the number of the further limit, from 1. ``reading`` is the reading whose limit it is, where they differ.
    ``since`` is the operation that a time counts from. ``choice`` has the choices (`by`) that it is for, "" if it is
    for all. ``operation`` is "" for a joint and an instrument. ``mark`` is the place in the file: no two figures share
    one.
    """

    what: What
    name: str
    mark: Mark
    operation: str = ""
    number: int = 0
    reading: str = ""
    since: str = ""
    choice: str = ""

    @property
    def title(self) -> str:
        """The figure in a few words: ``head-nuts stage 1``, ``limit of end-play``."""
        return f"{self._title} ({self.choice})" if self.choice else self._title

    @property
    def limit_words(self) -> str:
        """Which limit of its value it is: ``limit``, ``limit for used parts``, ``further limit 2``."""
        match self.what:
            case "used":
                return "limit for used parts"
            case "further":
                return f"further limit {self.number}"
            case _:
                return "limit"

    @property
    def _title(self) -> str:
        match self.what:
            case "torque" | "angle":
                return f"{self.name} stage {self.number}"
            case "limit" | "used" | "further":
                return f"{self.limit_words} of {self.name}{f'[{self.reading}]' if self.reading else ''}"
            case "time":
                return f"time of {self.name} since {self.since}"
            case "covers":
                return f"range of {self.name}"
            case "layout":
                return f"tightening order of {self.name}"
            case _:
                return f"{self.what} of {self.name}"


class FilledFigure(Struct, frozen=True):
    """A figure that was filled in: its text, and its source."""

    text: str
    source: str


Filled = Mapping[Mark, FilledFigure]
"""The figures that were filled in, by the place in the file that asks for them."""


def figures_to_fill(procedure: Procedure) -> tuple[FigureToFill, ...]:
    """Every figure that is still to be filled in, each once, in the order of the file."""
    found = [
        *(one for operation in procedure.operations for one in _of_variants(operation)),
        *(FigureToFill(joint_key(key), joint.id, mark) for joint in procedure.joints
          for key, mark in joint.asked.items()),
        *(FigureToFill("covers", need.id, need.asked) for need in procedure.instruments if need.asked is not None),
    ]  # fmt: skip
    by_mark: dict[Mark, FigureToFill] = {}
    for one in found:
        by_mark.setdefault(one.mark, one)
    return tuple(sorted(by_mark.values(), key=lambda one: (one.mark.line, one.mark.column)))


def figures_of_operation(procedure: Procedure, operation: Operation) -> Iterator[FigureToFill]:
    """The figures that are to be filled in and that an operation needs: its own, its joint's, its instruments'."""
    yield from _of_operation(operation)
    joint = None if operation.tighten is None else procedure.joints_by_id.get(operation.tighten.joint)
    for key, mark in ({} if joint is None else joint.asked).items():
        yield FigureToFill(joint_key(key), operation.tighten.joint if operation.tighten else "", mark)
    for name in instrument_names(operation):
        need = procedure.instruments_by_id.get(name)
        if need is not None and need.asked is not None:
            yield FigureToFill("covers", name, need.asked)


def instrument_names(operation: Operation) -> tuple[str, ...]:
    """The instruments of an operation, and the other names under its `uses`."""
    tighten = operation.tighten
    wrench = () if tighten is None or tighten.instrument is None else (tighten.instrument,)
    used = (ref.name for ref in operation.uses)
    return (*wrench, *(name for record in operation.record for name in instruments_of(record)), *used)


def _of_variants(operation: Operation) -> Iterator[FigureToFill]:
    """The figures of an operation and its variants, with the choices that each of them is for."""
    if not operation.variants:
        yield from _of_operation(operation)
        return
    asked_by: dict[FigureToFill, list[dict[str, str]]] = {}
    for variant in operation.variants:
        for one in _of_operation(variant.operation):
            asked_by.setdefault(one, []).append(variant.choices)
    for one, choices in asked_by.items():
        in_all = len(choices) == len(operation.variants)
        fixed = [
            f"{name} {choice}"
            for name, choice in choices[0].items()
            if not in_all and all(each.get(name) == choice for each in choices)
        ]
        yield replace(one, choice=", ".join(fixed))


def joint_key(key: str) -> JointKey:
    """The kind of a figure that is a text of a joint."""
    match key:
        case "layout" | "lubricant" | "thread":
            return key
        case _:
            return "class"


def _of_operation(operation: Operation) -> Iterator[FigureToFill]:
    for value in values_of(operation):
        yield from asked_limits(value, operation.id)
    tighten = operation.tighten
    for number, stage in enumerate(() if tighten is None else tighten.stages, 1):
        if isinstance(stage, OpenStage) and stage.asked and tighten is not None:
            yield FigureToFill(stage.what, tighten.joint, stage.mark, operation.id, number)
    for window in operation.time:
        if window.asked is not None:
            yield FigureToFill("time", operation.id, window.asked, operation.id, since=window.operation.name)


def asked_limits(value: RecordedValue | CalculatedValue, operation: str = "") -> Iterator[FigureToFill]:
    """The limits of a value that are still to be filled in: the main one, that for used parts, the further ones."""

    def asked(what: What, bound: Bound | None, number: int = 0, reading: str = "") -> Iterator[FigureToFill]:
        if isinstance(bound, AskedLimit):
            yield FigureToFill(what, value.name, bound.mark, operation, number, reading)

    for slot, terms in value.by_reading.items():
        yield from asked("limit", terms.bound, 0, slot)
        yield from asked("used", terms.used, 0, slot)
    yield from asked("limit", value.bound)
    if isinstance(value, RecordedValue):
        yield from asked("used", value.used)
        for number, further in enumerate(value.also, 1):
            yield from asked("further", further.bound, number)


def to_fill_problems(procedure: Procedure, file: str) -> Iterator[Problem]:
    """A note for each figure that is still to be filled in."""
    hint = "Write the figure instead of `ask`. Otherwise the bench asks for it, with its source"
    for one in figures_to_fill(procedure):
        where = f"{one.operation}.{one.name}" if one.operation and one.operation != one.name else one.name
        mark = one.mark
        yield Problem("to-fill", "note", file, mark.line, mark.column, f"To be filled in: {one.title}", hint, where)


def to_fill_summary(number: int, first: str, line: int) -> str:
    """One sentence about all figures to be filled in: ``18 figures still to be filled in, first: ...``."""
    count = "1 figure" if number == 1 else f"{number} figures"
    return f"{count} still to be filled in, first: {first} (line {line})"


def with_figures(procedure: Procedure, filled: Filled) -> Procedure:
    """The procedure with the figures ``filled``, as if the author had written them. Others are left open.

    Raises:
        QuantityError: a figure cannot be read. It was checked when it was given, so this does not happen.
    """
    if not filled:
        return procedure
    return replace(
        procedure,
        operations=tuple(_filled_operation(operation, filled) for operation in procedure.operations),
        joints=tuple(_filled_joint(joint, filled) for joint in procedure.joints),
        instruments=tuple(_filled_instrument(need, filled) for need in procedure.instruments),
    )


def _filled_operation(operation: Operation, filled: Filled) -> Operation:
    variants = tuple(
        OperationVariant(one.choices, _filled_operation(one.operation, filled)) for one in operation.variants
    )
    return replace(
        operation,
        record=tuple(_filled_record(value, filled) for value in operation.record),
        work_out=tuple(_filled_value(value, filled) for value in operation.work_out),
        time=tuple(_filled_window(window, filled) for window in operation.time),
        variants=variants,
    )


def _filled_value(value: V, filled: Filled) -> V:
    difference = value.judge == "spread" if isinstance(value, RecordedValue) else None
    terms: dict[str, ReadingTerms] = {
        slot: replace(one, bound=_bound(one.bound, value.dimension, difference, filled),
                      used=_bound(one.used, value.dimension, difference, filled))
        for slot, one in value.by_reading.items()
    }  # fmt: skip
    return replace(value, bound=_bound(value.bound, value.dimension, difference, filled), by_reading=terms)


def _filled_record(value: RecordedValue, filled: Filled) -> RecordedValue:
    also = tuple(
        replace(one, bound=_bound(one.bound, value.dimension, one.judge == "spread", filled) or one.bound)
        for one in value.also
    )
    used = _bound(value.used, value.dimension, value.judge == "spread", filled)
    return replace(_filled_value(value, filled), used=used, also=also)


def _bound(bound: Bound | None, dimension: str, difference: bool | None, filled: Filled) -> Bound | None:
    if not isinstance(bound, AskedLimit) or bound.mark not in filled:
        return bound
    figure = filled[bound.mark]
    return replace(
        parse_plain_bound(figure.text, dimension, difference=difference), given=GivenFrom(figure.source, bound.mark)
    )


def _filled_window(window: TimeSince, filled: Filled) -> TimeSince:
    if window.asked is None or window.asked not in filled:
        return window
    figure = filled[window.asked]
    limit = parse_limit(figure.text, dimension="time", nominal=False)
    return replace(window, low=limit.low, high=limit.high, low_open=limit.low_open, high_open=limit.high_open,
                   text=limit.text, asked=None, source=figure.source)  # fmt: skip


def _filled_joint(joint: Joint, filled: Filled) -> Joint:
    found = {key: filled[mark] for key, mark in joint.asked.items() if mark in filled}
    if not found:
        return joint
    given = {key: figure.text for key, figure in found.items()}
    layout = layout_of_rows(given["layout"]) if "layout" in given else joint.layout
    return replace(
        joint,
        layout=layout,
        count=sum(number is not None for row in layout for number in row),
        lubricant=given.get("lubricant", joint.lubricant),
        thread=given.get("thread", joint.thread),
        grade=given.get("class", joint.grade),
        given={**joint.given, **{key: figure.source for key, figure in found.items()}},
        asked={key: mark for key, mark in joint.asked.items() if key not in given},
    )


def _filled_instrument(need: InstrumentNeed, filled: Filled) -> InstrumentNeed:
    if need.asked is None or need.asked not in filled:
        return need
    figure = filled[need.asked]
    return replace(need, covers=parse_limit(figure.text, nominal=False), asked=None, given=figure.source)


def given_source(bound: Bound | None) -> str:
    """The source of a limit that was filled in at the bench; "" for any other."""
    return bound.given.source if isinstance(bound, Fixed | EqualWithin) and bound.given is not None else ""
