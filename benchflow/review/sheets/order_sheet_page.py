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
from benchflow.procedure.figure_sources import source_of
from benchflow.procedure.model import (
    Caution,
    FollowUp,
    Operation,
    Procedure,
    instruments_of,
)
from benchflow.procedure.plan import Plan, Step
from benchflow.review.sheets.order_sheet_blanks import (
    Blank,
    ChoiceTable,
    JointBlank,
    TitlesAndTurns,
    calculated_blank,
    check_line,
    choice_table,
    joint_blank,
    match_table,
    number_ranges,
    recorded_blank,
    turns_if_called,
)
from benchflow.review.sheets.sources_on_sheet import source_facts, words_of_source

ON_PAPER = (
    "Paper does not block a wrong step. This order is safe only from the start state given here, line by line as "
    "printed, with every move in its place. If the state differs, or anything is reworked or done again, this sheet is "
    "not valid any more: print a new one, or work at the bench."
)
NOT_THE_MANUAL = (
    "This sheet does not replace the maker's manual, local codes or licensed practice. Where they differ from it or "
    "require more, follow them."
)


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
    yield from source_facts(procedure, "Source of the numbers")
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
    times = [time for turn in sheet.turns if isinstance(turn, OperationTurn) for time in turn.times]
    timed = {since for time in times for since in (time.since, time.state_since)}
    gathered: list[tuple[str, list[PrintedLine]]] = []
    for turn in sheet.turns:
        goal = by_turn[turn.before] if isinstance(turn, MoveTurn) else turn
        assert isinstance(goal, OperationTurn)
        section = sheet.plan.steps[goal.step].operation.section
        entry = (
            _move_line(sheet, turn, counted_from=turn.turn in timed)
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
    called = tuple(_operation_line(sheet, turn, counted_from=False) for turn in turns_if_called(sheet))
    if called:
        yield PrintedSection("Only if a remedy calls for it", called)


def _move_line(sheet: OrderSheet, turn: MoveTurn, *, counted_from: bool) -> PrintedLine:
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
        clock=("made at",) if counted_from else (),
    )


def _operation_line(sheet: OrderSheet, turn: OperationTurn, *, counted_from: bool) -> PrintedLine:
    plan = sheet.plan if turn.step in sheet.plan.steps else whole_plan(sheet.plan.procedure, sheet.plan.options)
    step = plan.steps[turn.step]
    operation = step.operation
    number = turn.turn if plan is not sheet.plan else plan.number(turn.step)
    names = TitlesAndTurns(sheet)
    hold = operation.hold
    return PrintedLine(
        turn=turn.turn,
        label=f"({number})" if number != turn.turn else "",
        is_move=False,
        title=step.title or step.id,
        why=(*_conditions(plan, step), *_reasons_for_place(plan.procedure, operation, turn)),
        cautions=operation.cautions,
        do=operation.do,
        uses=tuple(names.title(ref.name) for ref in operation.uses),
        blanks=(
            *(recorded_blank(names, record) for record in operation.record),
            *(calculated_blank(names, work_out) for work_out in operation.work_out),
        ),
        tables=(
            *(choice_table(names, choose) for choose in operation.choose),
            *(match_table(names, match) for match in operation.match),
        ),
        joint=joint_blank(sheet.plan.procedure, names, operation.tighten) if operation.tighten else None,
        checks=tuple(check_line(names, point) for point in operation.check),
        hold=f"{hold.signer}: {hold.for_}" if hold and hold.for_ else hold.signer if hold else "",
        clock=tuple(_times_to_write(turn, counted_from)),
    )


def _conditions(plan: Plan, step: Step) -> Iterator[str]:
    condition = condition_text(plan, step)
    if condition:
        yield f"{condition[:1].upper()}{condition[1:]}"
    if step.operation.if_needed:
        yield "Then do the line with the remedy again"


def _reasons_for_place(procedure: Procedure, operation: Operation, turn: OperationTurn) -> Iterator[str]:
    if operation.because:
        yield operation.because
    if turn.after:
        yield f"After {number_ranges(turn.after)}"
    yield from _state_reasons(turn.states)
    for time in turn.times:
        what = (
            "Start and finish within" if time.holds_back and time.closes else "Start" if time.holds_back else "Finish"
        )
        begun = "as at the start" if time.state_since is None else f"since {time.state_since}"
        state = f". It counts only while {time.state} ({begun}), from when that began" if time.state else ""
        written = next((window.source for window in operation.time if window.text == time.text), "")
        source = words_of_source(source_of(procedure, written))
        yield f"{what} {time.text} after the end of {time.since}{state}{source}"
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
