"""The content of the printed order sheet: one safe order, with reasons and blanks to fill in on each line.

:mod:`benchflow.ordering.pictures.order_sheet` finds the order; ``order_sheet_html`` and ``order_sheet_text`` print this
content. The sheet is made before the work, so it has no readings.

These modules draw joints with :mod:`benchflow.trade.joint_picture`, which :mod:`benchflow.ordering` must not import. So
they are here, with the build sheet, and share its templates, style and joint pictures.
"""

from collections.abc import Iterable, Iterator

from msgspec import Struct

from benchflow.ordering.called_work import whole_plan
from benchflow.ordering.interlock import moves_of
from benchflow.ordering.pictures.order_graph import move_letter
from benchflow.ordering.pictures.order_sheet import MoveTurn, NeededState, OperationTurn, OrderSheet
from benchflow.ordering.wording import condition_text
from benchflow.procedure.model import (
    Bound,
    CalculatedValue,
    Caution,
    CheckPoint,
    FollowUp,
    FurtherLimit,
    Joint,
    OpenTorqueStage,
    Operation,
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
from benchflow.procedure.plan import Plan, Step
from benchflow.trade.joint_picture import FastenerCell

ON_PAPER = (
    "Paper does not block a wrong step. This order is safe only from the start state given here, line by line as "
    "printed, with every move in its place. If the state differs, or anything is reworked or done again, this sheet is "
    "not valid any more: print a new one, or work at the bench."
)
NOT_THE_MANUAL = (
    "This sheet does not replace the maker's manual, local codes or licensed practice. Where they differ from it or "
    "require more, follow them."
)


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


class PrintedLine(Struct, frozen=True):
    """A line of the sheet, for an operation or a move.

    ``turn`` is its number in the order. ``label`` is ``move A`` for a move; for an operation it is the number at the
    bench, in brackets, if that differs from ``turn``. ``why`` are the reasons for its place in the order. ``clock``
    names the times to write down, such as ``start not before``.
    """

    turn: int
    label: str
    is_move: bool
    title: str
    why: tuple[str, ...]
    cautions: tuple[Caution, ...] = ()
    do: str = ""
    uses: tuple[str, ...] = ()
    blanks: tuple[Blank, ...] = ()
    tables: tuple[ChoiceTable, ...] = ()
    joint: JointBlank | None = None
    checks: tuple[str, ...] = ()
    hold: str = ""
    clock: tuple[str, ...] = ()


class PrintedSection(Struct, frozen=True):
    """Consecutive lines of one section."""

    title: str
    entries: tuple[PrintedLine, ...]


class OrderSheetPage(Struct, frozen=True):
    """The whole sheet, as text ready to print."""

    title: str
    subject: str
    notice: str
    on_paper: str
    not_the_manual: str
    facts: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    cautions: tuple[Caution, ...]
    begin: tuple[str, ...]
    kit: tuple[tuple[str, str, bool], ...]  # title, quantity, true if its lot must be written down
    instruments: tuple[tuple[str, str], ...]  # title, required range and uncertainty
    parts: tuple[PrintedSection, ...]
    follow_up: tuple[str, ...]

    @property
    def renumbered(self) -> bool:
        """True if any operation has a number at the bench that differs from its turn."""
        return any(entry.label.startswith("(") for part in self.parts for entry in part.entries)


def order_sheet_page(sheet: OrderSheet) -> OrderSheetPage:
    """The sheet as text ready to print."""
    procedure = sheet.plan.procedure
    warnings = []
    if not sheet.time_kept:
        warnings.append("THE TIME WINDOWS CANNOT ALL BE KEPT IN THIS ORDER, however fast the work is.")
    steps = sheet.plan.steps.values()
    used = {ref.name for step in steps for ref in step.operation.uses}
    used |= {name for step in steps for name in _instruments_used(step.operation)}
    return OrderSheetPage(
        title=procedure.title,
        subject=procedure.subject,
        notice=procedure.notice,
        on_paper=ON_PAPER,
        not_the_manual=NOT_THE_MANUAL,
        facts=tuple(_sheet_facts(sheet)),
        warnings=tuple(warnings),
        cautions=procedure.cautions,
        begin=tuple(line[:1].upper() + line[1:] for line in sheet.begin),
        kit=tuple(
            (item.title or item.id, item.quantity, item.lot_required) for item in procedure.kit if item.id in used
        ),
        instruments=tuple(
            (need.title or need.id, _instrument_requirements(procedure, need.id))
            for need in procedure.instruments
            if need.id in used
        ),
        parts=tuple(_printed_sections(sheet)),
        follow_up=tuple(_follow_up_text(item) for item in procedure.follow_up),
    )


def _sheet_facts(sheet: OrderSheet) -> Iterator[tuple[str, str]]:
    procedure = sheet.plan.procedure
    yield "Procedure", f"{procedure.id}, revision {procedure.revision}"
    if procedure.source:
        yield "Source of the numbers", procedure.source
    for option in procedure.options:
        yield option.ask or option.name, sheet.plan.options.get(option.name, "not chosen")
    if sheet.asked:
        yield "Start state", "; ".join(sheet.asked)


def _instruments_used(operation: Operation) -> Iterator[str]:
    yield from (name for record in operation.record for name in instruments_of(record))
    if operation.tighten and operation.tighten.instrument:
        yield operation.tighten.instrument


def _instrument_requirements(procedure: Procedure, name: str) -> str:
    need = procedure.instruments_by_id[name]
    covers = f"covers {need.covers.text}" if need.covers else ""
    uncertainty = f"uncertainty {need.uncertainty.text}" if need.uncertainty else ""
    return ", ".join(part for part in (covers, uncertainty) if part)


def _follow_up_text(item: FollowUp) -> str:
    due = " or ".join(part for part in (item.due.entered if item.due else "", item.or_) if part)
    return f"{item.title}: {due}" if due else item.title


# --- lines ------------------------------------------------------------------------------------------


def _printed_sections(sheet: OrderSheet) -> Iterator[PrintedSection]:
    """The lines by section. A move is in the section of the operation that needs it."""
    titles = {section.id: section.title or section.id for section in sheet.plan.procedure.sections}
    by_turn = {turn.turn: turn for turn in sheet.turns}
    timed = {since.since for turn in sheet.turns if isinstance(turn, OperationTurn) for since in turn.times}
    gathered: list[tuple[str, list[PrintedLine]]] = []
    for turn in sheet.turns:
        goal = by_turn[turn.before] if isinstance(turn, MoveTurn) else turn
        assert isinstance(goal, OperationTurn)
        section = sheet.plan.steps[goal.step].operation.section
        entry = (
            _move_line(sheet, turn)
            if isinstance(turn, MoveTurn)
            else _operation_line(sheet, turn, counted_from=turn.turn in timed)
        )
        if not gathered or gathered[-1][0] != section:
            gathered.append((section, []))
        gathered[-1][1].append(entry)
    seen: set[str] = set()
    for section, entries in gathered:
        title = titles.get(section, section)
        yield PrintedSection(f"{title} (continued)" if section in seen else title, tuple(entries))
        seen.add(section)
    called = tuple(_operation_line(sheet, turn, counted_from=False) for turn in _turns_if_called(sheet))
    if called:
        yield PrintedSection("Only if a remedy calls for it", called)


def _turns_if_called(sheet: OrderSheet) -> Iterator[OperationTurn]:
    """A turn for each step that is done only if a remedy calls for it, numbered after all others."""
    plan = whole_plan(sheet.plan.procedure, sheet.plan.options)
    left = [name for name in plan.steps if name not in sheet.plan.steps]
    for turn, name in enumerate(left, len(sheet.turns) + 1):
        yield OperationTurn(turn, name, (), (), (), ())


def _move_line(sheet: OrderSheet, turn: MoveTurn) -> PrintedLine:
    moves = moves_of(sheet.plan)
    move = moves[turn.move]
    why = f"Needed for line {turn.before}" + (f": {'. '.join(turn.lifts)}" if turn.lifts else "")
    return PrintedLine(
        turn=turn.turn,
        label=f"move {move_letter(list(moves).index(turn.move))}",
        is_move=True,
        title=move.title or move.id,
        why=(why, *_state_reasons(turn.states)),
        cautions=move.cautions,
        do=move.do,
    )


def _operation_line(sheet: OrderSheet, turn: OperationTurn, *, counted_from: bool) -> PrintedLine:
    plan = sheet.plan if turn.step in sheet.plan.steps else whole_plan(sheet.plan.procedure, sheet.plan.options)
    step = plan.steps[turn.step]
    operation = step.operation
    number = turn.turn if plan is not sheet.plan else plan.number(turn.step)
    names = _TitlesAndTurns(sheet)
    hold = operation.hold
    return PrintedLine(
        turn=turn.turn,
        label=f"({number})" if number != turn.turn else "",
        is_move=False,
        title=step.title or step.id,
        why=(*_conditions(plan, step), *_reasons_for_place(operation, turn)),
        cautions=operation.cautions,
        do=operation.do,
        uses=tuple(names.title(ref.name) for ref in operation.uses),
        blanks=(
            *(_recorded_blank(names, record) for record in operation.record),
            *(_calculated_blank(names, work_out) for work_out in operation.work_out),
        ),
        tables=(
            *(_choice_table(choose) for choose in operation.choose),
            *(_match_table(match) for match in operation.match),
        ),
        joint=_joint_blank(sheet.plan.procedure, names, operation.tighten) if operation.tighten else None,
        checks=tuple(_check_line(names, point) for point in operation.check),
        hold=f"{hold.by}: {hold.for_}" if hold and hold.for_ else hold.by if hold else "",
        clock=tuple(_times_to_write(turn, counted_from)),
    )


def _conditions(plan: Plan, step: Step) -> Iterator[str]:
    condition = condition_text(plan, step)
    if condition:
        yield f"{condition[:1].upper()}{condition[1:]}"
    if step.operation.if_needed:
        yield "Then do the line with the remedy again"


def _reasons_for_place(operation: Operation, turn: OperationTurn) -> Iterator[str]:
    if operation.because:
        yield operation.because
    if turn.after:
        yield f"After {number_ranges(turn.after)}"
    yield from _state_reasons(turn.states)
    for time in turn.times:
        what = (
            "Start and finish within" if time.holds_back and time.closes else "Start" if time.holds_back else "Finish"
        )
        yield f"{what} {time.text} after the end of {time.since}"
    for hazard in turn.hazards:
        yield f"While {hazard}" if operation.during else f"From here on {hazard}"


def _times_to_write(turn: OperationTurn, counted_from: bool) -> Iterator[str]:
    if any(time.holds_back for time in turn.times):
        yield "start not before"
    if any(time.closes for time in turn.times):
        yield "finish not after"
    if counted_from:
        yield "finished at"


def _state_reasons(states: Iterable[NeededState]) -> Iterator[str]:
    for state in states:
        since = "as at the start" if state.since is None else f"since {state.since}"
        yield f"Needs {state.words}, {since}"


def number_ranges(numbers: Iterable[int]) -> str:
    """Ascending numbers as ranges: ``2, 4–7``."""
    found: list[list[int]] = []
    for number in numbers:
        if found and number == found[-1][1] + 1:
            found[-1][1] = number
        else:
            found.append([number, number])
    return ", ".join(str(a) if a == b else f"{a}–{b}" if b > a + 1 else f"{a}, {b}" for a, b in found)


# --- blanks ----------------------------------------------------------------------------------


def _recorded_blank(names: "_TitlesAndTurns", record: RecordedValue) -> Blank:
    several = len(record.slots) > 1 or record.by_place
    by_reading = [(slot, record.at(slot)) for slot in record.by_reading]
    limits = []
    for slot, one in by_reading or [("", record)]:
        label = f"{slot}: " if slot else ""
        limits += [f"{label}{_limit_text(one.bound)}"] if one.bound else []
        limits += [f"{label}used parts: {one.used.text}"] if one.used and one.used_by_option is None else []
    further = [f"{f'{limit.title}: ' if limit.title else ''}{_further_text(limit)}" for limit in record.also]
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
    return f"{figure}limit {limit.bound.text}"


def _tools_of(names: "_TitlesAndTurns", record: RecordedValue) -> str:
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


def _calculated_blank(names: "_TitlesAndTurns", work_out: CalculatedValue) -> Blank:
    limit = written_limit(work_out)
    return Blank(
        ask=work_out.title or work_out.name,
        slots=("",),
        unit=work_out.unit,
        limits=(f"limit {limit}",) if limit else (),
        how=f"= {work_out.formula}",
        remedies=(*_remedy_lines(names, "below", work_out.below), *_remedy_lines(names, "above", work_out.above)),
    )


def _limit_text(bound: Bound | None) -> str:
    return f"limit {bound.text}" if bound else ""


def _remedy_lines(names: "_TitlesAndTurns", side: str, remedies: Iterable[Remedy]) -> Iterator[str]:
    for remedy in remedies:
        again, called = names.turns(remedy.redo), names.called_turns(remedy.redo)
        redo = f"; then do {called}" if called else ""
        redo += f"; then do {again} again, with a new sheet or at the bench" if again else ""
        tries = f" (at most {remedy.tries} times)" if remedy.tries > 1 else ""
        parts = f", with {', '.join(names.title(ref.name) for ref in remedy.uses)}" if remedy.uses else ""
        wait = f"; then wait {remedy.wait.entered}" if remedy.wait is not None else ""
        yield f"{side}: {'STOP. ' if remedy.stop else ''}{remedy.do.rstrip('. ')}{parts}{tries}{wait}{redo}"


def _check_line(names: "_TitlesAndTurns", point: CheckPoint) -> str:
    """A check with the remedies for the answer no."""
    if not point.if_not:
        return point.text
    return ". ".join((point.text.rstrip(". "), *_remedy_lines(names, "if not", point.if_not)))


def _choice_table(choose: PartChoice) -> ChoiceTable:
    rows = tuple((row.text, f"STOP. {row.stop}" if row.stop else row.take) for row in choose.rows)
    return ChoiceTable(f"{choose.title or choose.name}, by {choose.by}", rows)


def _match_table(match: PartMatching) -> ChoiceTable:
    aim = f", near {match.aim.entered}" if match.aim else ""
    words = f"one for each {match.to}, so that {match.so_that} is within {match.limit.text}{aim}"
    return ChoiceTable(match.title or match.name, words=words)


def _stage_remedy_lines(names: "_TitlesAndTurns", tighten: Tighten) -> Iterator[str]:
    for number, stage in enumerate(tighten.stages, 1):
        for side, remedies in stage_remedies(stage):
            for text in _remedy_lines(names, side, remedies):
                yield f"stage {number}, {text}"


def _joint_blank(procedure: Procedure, names: "_TitlesAndTurns", tighten: Tighten) -> JointBlank:
    joint = procedure.joints_by_id[tighten.joint]
    about = [
        joint.thread,
        "left-hand thread" if joint.left_hand else "",
        f"class {joint.grade}" if joint.grade else "",
        f"lubricant: {joint.lubricant}" if joint.lubricant else "",
        f"draw down: {tighten.draw_down}" if tighten.draw_down else "",
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
        tuple(_stage_boxes(joint, tighten)),
    )


def _stage_boxes(joint: Joint, tighten: Tighten) -> Iterator[StageBoxes]:
    for stage in tighten.stages:
        members = range(1, joint.count + 1) if stage.only is None else sorted(joint.groups[stage.only])
        asked = isinstance(stage, OpenTorqueStage) and not stage.formula
        text = f"{stage.text}: ____________ source: ________________________" if asked else stage.text
        yield StageBoxes(text + (f" ({stage.only} only)" if stage.only else ""), tuple(members))


class _TitlesAndTurns:
    """The titles of parts and instruments, and the turns of operations, by id."""

    def __init__(self, sheet: OrderSheet) -> None:
        procedure = sheet.plan.procedure
        self._titles = {item.id: item.title for item in procedure.kit}
        self._titles |= {need.id: need.title for need in procedure.instruments}
        self._turns = {turn.step: turn.turn for turn in sheet.turns if isinstance(turn, OperationTurn)}
        self._called = {turn.step: turn.turn for turn in _turns_if_called(sheet)}

    def title(self, name: str) -> str:
        return self._titles.get(name) or name

    def called_turns(self, refs: Iterable[Ref]) -> str:
        """The turns of those operations in ``refs`` that are done only if a remedy calls for them."""
        return number_ranges(sorted(self._called[ref.name] for ref in refs if ref.name in self._called))

    def turns(self, refs: Iterable[Ref]) -> str:
        """The turns of the operations in ``refs``. Operations that are not part of this build are left out."""
        return number_ranges(sorted(self._turns[ref.name] for ref in refs if ref.name in self._turns))
