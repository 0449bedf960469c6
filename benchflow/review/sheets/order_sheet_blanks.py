"""The blanks of the printed order sheet: values, tables and joints to fill in, and the remedies beside them."""

from collections.abc import Iterable, Iterator

from msgspec import Struct

from benchflow.ordering.called_work import whole_plan
from benchflow.ordering.pictures.order_sheet import OperationTurn, OrderSheet
from benchflow.procedure.figure_sources import source_of
from benchflow.procedure.model import (
    NO_SIDES,
    AskedLimit,
    Bound,
    CalculatedValue,
    CheckPoint,
    FurtherLimit,
    Joint,
    JointSides,
    OpenStage,
    PartChoice,
    PartMatching,
    Procedure,
    RecordedValue,
    Ref,
    Remedy,
    Tighten,
    instruments_of,
    stage_remedies,
    written_limit,
)
from benchflow.procedure.procedure_figures import source_of_value
from benchflow.review.sheets.sources_on_sheet import common_source, stage_words, words_of_source
from benchflow.trade.joint_picture import FastenerCell


class Blank(Struct, frozen=True):
    """A value to write in. Each of ``slots`` gets one blank; a slot may have no name. ``how`` is the formula of a
    calculated value. ``remedies`` are the instructions for a value out of its limit."""

    ask: str
    slots: tuple[str, ...]
    unit: str
    limits: tuple[str, ...]
    tool: str = ""
    how: str = ""
    remedies: tuple[str, ...] = ()


class ChoiceTable(Struct, frozen=True):
    """A part to choose, by ``rows`` of limit and part, or by a rule in ``words``."""

    title: str
    rows: tuple[tuple[str, str], ...] = ()
    words: str = ""


class StageBoxes(Struct, frozen=True):
    """A stage with its fasteners in order, one box for each."""

    text: str
    fasteners: tuple[int, ...]


class JointBlank(Struct, frozen=True):
    """A joint in its layout, with boxes for each stage."""

    title: str
    about: str
    fasteners: tuple[FastenerCell, ...]
    stages: tuple[StageBoxes, ...]
    sides: JointSides = NO_SIDES


_TO_WRITE = "____________ source: ________________________"
"""What is printed instead of a figure that is still to be filled in."""


def number_ranges(numbers: Iterable[int]) -> str:
    """Ascending numbers as ranges: ``2, 4–7``."""
    found: list[list[int]] = []
    for number in numbers:
        if found and number == found[-1][1] + 1:
            found[-1][1] = number
        else:
            found.append([number, number])
    return ", ".join(str(a) if a == b else f"{a}–{b}" if b > a + 1 else f"{a}, {b}" for a, b in found)


def turns_if_called(sheet: OrderSheet) -> Iterator[OperationTurn]:
    """A turn for each step that is done only if a remedy calls for it, numbered after all others."""
    plan = whole_plan(sheet.plan.procedure, sheet.plan.options)
    left = [name for name in plan.steps if name not in sheet.plan.steps]
    for turn, name in enumerate(left, len(sheet.turns) + 1):
        yield OperationTurn(turn, name, (), (), (), ())


def recorded_blank(names: "TitlesAndTurns", record: RecordedValue) -> Blank:
    several = len(record.slots) > 1 or record.by_place
    by_reading = [(slot, record.at(slot)) for slot in record.by_reading]
    limits, source = [], words_of_source(source_of_value(names.procedure, record))
    for slot, one in by_reading or [("", record)]:
        label = f"{slot}: " if slot else ""
        limits += [f"{label}{_limit_text(one.bound)}{source}"] if one.bound else []
        limits += (
            [f"{label}used parts: {_limit_text(one.used).removeprefix('limit ')}{source}"]
            if one.used and one.used_by_option is None
            else []
        )
    further = [
        f"{f'{limit.title}: ' if limit.title else ''}{_further_text(limit)}"
        f"{words_of_source(source_of(names.procedure, limit.source, record.source))}"
        for limit in record.also
    ]
    return Blank(
        ask=record.ask or record.name,
        slots=record.slots if several else ("",),
        unit=record.unit,
        limits=(*(limit for limit in limits if limit), *_judging_notes(record), *further),
        tool=_tools_of(names, record),
        remedies=tuple(
            line
            for one, limit in zip(record.by_limit, (None, *record.also), strict=True)
            for side, remedies in (("below", one.below), ("above", one.above))
            for line in _remedy_lines(names, f"{limit.title} {side}".strip() if limit else side, remedies)
        ),
    )


def _further_text(limit: FurtherLimit) -> str:
    figure = "" if limit.judge == "all" else f"{limit.judge} of the readings, "
    return f"{figure}{_limit_text(limit.bound)}"


def _tools_of(names: "TitlesAndTurns", record: RecordedValue) -> str:
    """The instrument of a value; by reading if it varies: ``Feeler (1), Dial (2, 3)``."""
    tools = instruments_of(record)
    if len(tools) < 2:
        return names.title(tools[0]) if tools else ""
    slots = {tool: [slot for slot, terms in record.by_reading.items() if terms.instrument == tool] for tool in tools}
    return ", ".join(f"{names.title(tool)} ({', '.join(slots[tool])})" for tool in tools)


def _judging_notes(record: RecordedValue) -> Iterator[str]:
    if len(record.slots) > 1 and record.judge != "all":
        yield f"judged by the {record.judge}"
    if record.decision == "guarded":
        yield "guarded: a value too near a limit is not proven"


def calculated_blank(names: "TitlesAndTurns", work_out: CalculatedValue) -> Blank:
    limit = _TO_WRITE if isinstance(work_out.bound, AskedLimit) else written_limit(work_out)
    return Blank(
        ask=work_out.title or work_out.name,
        slots=("",),
        unit=work_out.unit,
        limits=(f"limit {limit}{words_of_source(source_of_value(names.procedure, work_out))}",) if limit else (),
        how=f"= {work_out.formula}",
        remedies=(*_remedy_lines(names, "below", work_out.below), *_remedy_lines(names, "above", work_out.above)),
    )


def _limit_text(bound: Bound | None) -> str:
    return f"limit {_TO_WRITE if isinstance(bound, AskedLimit) else bound.text}" if bound else ""


def _asked_lines(joint: Joint) -> Iterator[str]:
    """A line to write each figure of a joint on that is still to be filled in."""
    for key in joint.asked:
        what = "tightening order (the numbers in the drawing are not the order)" if key == "layout" else key
        yield f"{what}: {_TO_WRITE}"


def _remedy_lines(names: "TitlesAndTurns", side: str, remedies: Iterable[Remedy]) -> Iterator[str]:
    for remedy in remedies:
        again, called = names.turns(remedy.redo), names.called_turns(remedy.redo)
        redo = f"; then do {called}" if called else ""
        redo += f"; then do {again} again, with a new sheet or at the bench" if again else ""
        tries = f" (at most {remedy.tries} times)" if remedy.tries > 1 else ""
        parts = f", with {', '.join(names.title(ref.name) for ref in remedy.uses)}" if remedy.uses else ""
        wait = f"; then wait {remedy.wait.entered}" if remedy.wait is not None else ""
        clocks = names.turns(remedy.restarts)
        wait += f"; it starts the clock of {clocks} again" if clocks else ""
        yield f"{side}: {'STOP. ' if remedy.stop else ''}{remedy.do.rstrip('. ')}{parts}{tries}{wait}{redo}"


def check_line(names: "TitlesAndTurns", point: CheckPoint) -> str:
    """A check with the remedies for the answer no."""
    if not point.if_not:
        return point.text
    return ". ".join((point.text.rstrip(". "), *_remedy_lines(names, "if not", point.if_not)))


def choice_table(names: "TitlesAndTurns", choose: PartChoice) -> ChoiceTable:
    rows = tuple((row.text, f"STOP. {row.stop}" if row.stop else row.take) for row in choose.rows)
    source = words_of_source(source_of(names.procedure, choose.source))
    return ChoiceTable(f"{choose.title or choose.name}, by {choose.by}{source}", rows)


def match_table(names: "TitlesAndTurns", match: PartMatching) -> ChoiceTable:
    aim = f", near {match.aim.entered}" if match.aim else ""
    words = f"one for each {match.to}, so that {match.so_that} is within {match.limit.text}{aim}"
    words += words_of_source(source_of(names.procedure, match.source))
    return ChoiceTable(match.title or match.name, words=words)


def _stage_remedy_lines(names: "TitlesAndTurns", tighten: Tighten) -> Iterator[str]:
    for number, stage in enumerate(tighten.stages, 1):
        for side, remedies in stage_remedies(stage):
            for text in _remedy_lines(names, side, remedies):
                yield f"stage {number}, {text}"


def joint_blank(procedure: Procedure, names: "TitlesAndTurns", tighten: Tighten) -> JointBlank:
    joint = procedure.joints_by_id[tighten.joint]
    about = [
        *_asked_lines(joint),
        joint.thread,
        "left-hand thread" if joint.left_hand else "",
        f"class {joint.grade}" if joint.grade else "",
        f"lubricant: {joint.lubricant}" if joint.lubricant else "",
        f"draw down: {tighten.draw_down}" if tighten.draw_down else "",
        f"source: {common}" if (common := common_source(procedure, tighten)) else "",
        *_stage_remedy_lines(names, tighten),
        f"with: {names.title(tighten.instrument)}" if tighten.instrument else "",
        f"angles add up to {(tighten.total_band.text if tighten.total_band else tighten.total_angle.entered)}"
        if tighten.total_angle
        else "",
    ]
    return JointBlank(
        joint.title or joint.id,
        ", ".join(part for part in about if part),
        tuple(
            FastenerCell(cell, row, column, "", "open")
            for row, cells in enumerate(joint.layout)
            for column, cell in enumerate(cells)
            if cell is not None
        ),
        tuple(_stage_boxes(procedure, joint, tighten)),
        joint.sides,
    )


def _stage_boxes(procedure: Procedure, joint: Joint, tighten: Tighten) -> Iterator[StageBoxes]:
    for number, stage in enumerate(tighten.stages, 1):
        members = range(1, joint.count + 1) if stage.only is None else sorted(joint.groups[stage.only])
        asked = isinstance(stage, OpenStage) and not stage.formula
        text = f"{stage.text}: {_TO_WRITE}" if asked else stage.text
        only = f" ({stage.only} only)" if stage.only else ""
        yield StageBoxes(f"{text}{only}{stage_words(procedure, tighten, number)}", tuple(members))


class TitlesAndTurns:
    """The titles of parts and instruments, and the turns of operations, by id."""

    def __init__(self, sheet: OrderSheet) -> None:
        self.procedure = procedure = sheet.plan.procedure
        self._titles = {item.id: item.title for item in procedure.kit}
        self._titles |= {need.id: need.title for need in procedure.instruments}
        self._turns = {turn.step: turn.turn for turn in sheet.turns if isinstance(turn, OperationTurn)}
        self._called = {turn.step: turn.turn for turn in turns_if_called(sheet)}

    def title(self, name: str) -> str:
        return self._titles.get(name) or name

    def called_turns(self, refs: Iterable[Ref]) -> str:
        """The turns of those operations in ``refs`` that are done only if a remedy calls for them."""
        return number_ranges(sorted(self._called[ref.name] for ref in refs if ref.name in self._called))

    def turns(self, refs: Iterable[Ref]) -> str:
        """The turns of the operations in ``refs``. Operations that are not part of this build are left out."""
        return number_ranges(sorted(self._turns[ref.name] for ref in refs if ref.name in self._turns))
