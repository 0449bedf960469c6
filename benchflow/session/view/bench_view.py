"""The bench view: everything that the bench screen shows, as plain data.

Pure functions make it from the state. All texts are final and free of control characters; the screen adds the layout.
"""

from collections.abc import Sequence
from itertools import groupby
from typing import Literal

from msgspec import Struct, field

from benchflow.procedure.model import NO_SIDES, Caution, JointSides
from benchflow.session.refusal import Reason
from benchflow.trade.verdict import Verdict

ShownVerdict = Verdict | Literal[""]
"""The verdict on a reading; empty if there is no reading."""


class StateRow(Struct, frozen=True):
    """One state variable and its value as text: ``at the deck``. ``known`` is false for an unknown value.

    ``family`` is the title of a variable by place without the place, and ``place`` the place. Both are empty for
    others.
    """

    variable: str
    title: str
    value: str
    known: bool = True
    family: str = ""
    place: str = ""


def rows_by_variable(rows: Sequence[StateRow]) -> tuple[StateRow, ...]:
    """The rows with one row for all places of a variable by place: ``out 1, 3 · seated 2``; ``all out``."""
    found: list[StateRow] = []
    for family, members in groupby(rows, key=lambda row: row.family or row.variable):
        group = list(members)
        if not group[0].family:
            found += group
            continue
        by_value: dict[str, list[str]] = {}
        for row in group:
            by_value.setdefault(row.value, []).append(row.place)
        text = " · ".join(f"{value} {', '.join(places)}" for value, places in by_value.items())
        text = f"all {group[0].value}" if len(by_value) == 1 and len(group) > 1 else text
        found.append(StateRow(family, family, text, all(row.known for row in group)))
    return tuple(found)


class ClockRow(Struct, frozen=True):
    """A running time window, or the wait after a remedy (``remedy``).

    ``seconds`` are left in this phase; negative after the end of the window. ``known`` is false if the clocks
    contradict each other: then the window is closed and its wait is not over, and ``seconds`` is ``None``. ``by_wall``
    is true if only the computer clock shows the time, across a restart. ``until`` is the local clock time at which this
    phase ends: ``16:04`` today, else ``Sun 16:04``. It is empty if that is not known, and after the end of the window.
    """

    operation: str  # the operation that the window limits
    title: str
    since: str  # title of the operation with which the window starts
    phase: Literal["wait", "open", "closing", "missed"]
    seconds: float | None
    advice: str
    known: bool = True
    by_wall: bool = False
    remedy: bool = False
    until: str = ""
    limits: str = ""  # of the time window: "1 h .. 24 h"


class OperationRow(Struct, frozen=True):
    """One operation in the list of all operations, with its status."""

    operation: str
    number: int
    title: str
    status: Literal["ready", "blocked", "paused", "in-progress", "reopened", "done"]
    reason: str = ""  # the first reason, if blocked or reopened
    section: str = ""


class GaugePositions(Struct, frozen=True):
    """Positions on a drawn gauge, as fractions of its width from 0 to 1. ``None``: no such limit, or no reading."""

    low: float | None
    high: float | None
    guard_low: float | None
    guard_high: float | None
    value: float | None


class AskedFigure(Struct, frozen=True):
    """A figure that the procedure asks for and that comes next: its title, the question, the fields of the intent.

    ``key`` is the field of the intent `figure` that the answer goes to. ``source`` is where the author says that it
    is found; "" if nowhere.
    """

    title: str
    question: str
    fields: dict[str, str | int | bool]
    key: str = "value"
    source: str = ""

    @property
    def is_time(self) -> bool:
        """True if it is the time from one operation to another."""
        return "since" in self.fields


class OtherPart(Struct, frozen=True):
    """What applies to a reading if its part is ``used``, or new, other than stated so far: limit and asked figure."""

    used: bool
    limit: str
    asked: AskedFigure | None = None


class Reading(Struct, frozen=True):
    """One reading of a value. ``slot`` is its number ("1", "2") or its place, ``subject`` its name in an intent."""

    slot: str
    shown: str  # "0.12 mm", with the entered text if that differs; "" before the reading
    verdict: ShownVerdict
    attempts: int = 0
    waived: bool = False
    subject: str = ""  # "gap", "gap[2]"
    remedy: str = ""  # what to do before it can be read again; "" if it can be read now
    must_stop: bool = False  # the work stops at this reading: no remedy is left, or the remedy is to stop
    redo: tuple[str, ...] = ()  # number and title of each operation to redo after the remedy
    limit: str = ""  # its own limit, if the limits of the readings vary
    further: int = 0  # the further limit that the remedy belongs to, from 1; 0 for the main limit
    distance: str = ""  # outside its limit: "by 0.02 mm"; "0.02 mm above" if the readings are judged together
    gauge: GaugePositions | None = None  # its place in the limit
    asked: AskedFigure | None = None  # the figure that has to be given before it can be entered
    other_part: OtherPart | None = None  # set if the builder says whether the part is used: the limits differ


class FurtherLimitRow(Struct, frozen=True):
    """The judgement of the readings of a value by a further limit (`also`)."""

    title: str
    shown: str  # "spread 0.003 mm"; "" while a reading is missing
    verdict: ShownVerdict
    limit: str
    acceptance: str = ""  # the values that guarded acceptance accepts
    waived: bool = False
    remedy: str = ""  # what to do now if it is out of its limit
    must_stop: bool = False
    redo: tuple[str, ...] = ()  # number and title of each operation to redo after the remedy


class ReadingInput(Struct, frozen=True, tag="reading"):
    """A value to measure, with all its readings."""

    name: str
    ask: str
    unit: str
    limit: str
    decision: str
    readings: tuple[Reading, ...]
    instrument: str  # title of the instrument to use; "" if none is prescribed
    complete: bool
    gauge: GaugePositions | None = None
    summary: str = ""  # "mean 0.13 mm, ok" if the verdict is on the readings together; "mean so far 0.13 mm, ok"
    summary_verdict: ShownVerdict = ""  # the verdict in the summary
    acceptance: str = ""  # the values that guarded acceptance accepts, known with the first reading
    further: tuple[FurtherLimitRow, ...] = ()
    of_difference: bool = False  # the limit is about the differences of the readings, not about their size
    source: str = ""  # where the limit comes from; "" if that is the source of the whole procedure


class CalculatedInput(Struct, frozen=True, tag="calculated"):
    """A value that the program calculates. The builder enters nothing."""

    name: str
    title: str
    formula: str
    filled: str  # the formula with numbers instead of names; "" until all of them are entered
    shown: str
    limit: str
    verdict: ShownVerdict
    complete: bool
    gauge: GaugePositions | None = None
    waived: bool = False
    asked: AskedFigure | None = None  # its limit, if that has to be given
    remedy: str = ""  # what to do now if the value is out of its limit
    must_stop: bool = False  # work must stop: no remedy is left, or the remedy is to stop
    redo: tuple[str, ...] = ()  # number and title of each operation to redo after the remedy
    source: str = ""  # as in ReadingInput
    results: tuple[tuple[str, str, ShownVerdict], ...] = ()  # reading, result and verdict of each, if it has several


class ChoiceInput(Struct, frozen=True, tag="choice"):
    """A part to choose. If ``proposed`` has several parts, the builder chooses one of them."""

    name: str
    title: str
    proposed: tuple[str, ...]
    choices: tuple[str, ...]
    chosen: str
    complete: bool
    note: str = ""
    other_unit: str = ""  # unit of a size that is not in the list; "" if only the listed parts are allowed
    sizes: tuple[str, ...] = ()  # measured size of each choice, if known
    prefer: str = ""  # the part to choose, such as "thickest": another one needs a reason
    source: str = ""  # where the table or the limit comes from, as in ReadingInput


class CheckInput(Struct, frozen=True, tag="check"):
    """A check to tick."""

    number: int  # from 1
    text: str
    complete: bool
    failed: bool = False  # answered no
    remedy: str = ""  # what to do before it can be answered yes; "" if it can be answered now
    must_stop: bool = False  # the work stops at this check: no remedy is left, or the remedy is to stop
    redo: tuple[str, ...] = ()  # number and title of each operation to redo after the remedy
    asked: AskedFigure | None = None  # the figure that has to be given before it can be answered


class LotInput(Struct, frozen=True, tag="lot"):
    """A lot number to enter."""

    consumable: str
    title: str
    lot: str
    complete: bool


class FastenerStatus(Struct, frozen=True):
    """One fastener of a joint.

    ``stage`` is its last completed stage (0: none). ``in_stage`` is true if the current stage includes it. ``turns``
    counts its turns in the draw-down. ``shown`` is its last reading ("110 N·m, 0.15 mm"), with the ``verdict`` on
    it. It is ``waived`` if a deviation covers it. ``failed`` is what happened to it if it failed ("stripped").
    """

    number: int
    row: int
    column: int
    stage: int
    in_stage: bool = True
    turns: int = 0
    shown: str = ""
    verdict: ShownVerdict = ""
    waived: bool = False
    failed: str = ""


class TickValue(Struct, frozen=True):
    """A reading of a tick of the current stage. ``field`` is the field of the intent `tick`.

    An ``optional`` one may be left out. With ``answers``, "held" or "moved" is possible instead.
    """

    field: Literal["value", "stretch"]
    title: str  # "torque", "angle", "stretch"
    unit: str
    limit: str
    optional: bool = False
    answers: bool = False


class DrawDownProgress(Struct, frozen=True):
    """Progress of a draw-down: the part is pulled down level, turn by turn, before the first stage.

    While ``open``, a turn of the fastener ``next`` or "all seated" can be entered. The draw-down ends with "all
    seated", or with the first tick of a stage if no turn was entered.
    """

    turn: str  # the instruction in the procedure: "half a turn, middle first"
    open: bool
    started: bool = field(name="begun")  # a turn was entered: the stages are blocked until "all seated"
    seated: bool
    round: int  # the current round, from 1
    done: int  # fasteners turned in this round
    of: int  # fasteners in a round
    next: int | None  # the fastener to turn now
    last: int | None  # the fastener turned last
    progress: str = field(name="words")  # "draw down, round 3, 4 of 10: half a turn, middle first"


class TightenInput(Struct, frozen=True, tag="tighten"):
    """A joint to tighten."""

    joint: str
    title: str
    fasteners: tuple[FastenerStatus, ...]
    rows: int
    columns: int
    stages: tuple[str, ...]  # as shown: "60 N·m", "+90°"
    stage: int  # the current stage, from 1; len(stages) + 1 after the last one
    next: int | None  # the fastener to tighten now
    done: int  # fasteners done in this stage
    of: int  # fasteners in this stage
    progress: str  # "7 of 10, stage 2 of 3: 60 N·m"
    last: int | None  # the fastener ticked last
    settings: tuple[str, ...] = ()  # lines on the wrench setting, the lubricant and the instrument
    turn_notice: str = ""  # the line of the settings on a left-hand thread; "" if nothing is left to tighten
    background: tuple[str, ...] = ()  # lines on the preload, the per cent of proof load and the stretch
    warnings: tuple[str, ...] = ()  # about the current stage, such as a preload above the proof load
    complete: bool = False
    tick_values: tuple[TickValue, ...] = ()  # the readings to enter with a tick, in order
    optional_value: TickValue | None = None  # the reading that may be entered with a tick
    advice: str = ""  # what to do about a fastener out of its band; "" if there is none
    loosen_first: bool = False  # the next fastener was too high: it has to be let off and brought up again
    draw_down: DrawDownProgress | None = None
    reread: tuple[int, ...] = ()  # fasteners out of their limit: they can be ticked again with a new reading
    reread_stage: int = 0  # the stage of these ticks
    wrench_setting: str = ""  # for the current stage, if an extension changes it; otherwise ""
    last_entry: str = ""  # the entry that the intent `untick` clears if it names no fastener; "" for none
    asked: AskedFigure | None = None  # the figure that has to be given before the next tick
    asked_stage: int = 0  # the current stage, if its torque is not printed and not given yet; otherwise 0
    remedied: int | None = None  # the fastener whose remedy is next; None if none waits for a remedy
    remedy: str = ""  # what to do before this fastener can be ticked again
    must_stop: bool = False  # the work stops at this fastener: no remedy is left, or the remedy is to stop
    redo: tuple[str, ...] = ()  # number and title of each operation to redo after the remedy
    resume_text: str = ""  # "last: no. 6. Check no. 6, then no. 7." after a break within a stage; otherwise ""
    rest: tuple[int, ...] = ()  # the fasteners that the intent `tick-rest` would enter; empty if it is not possible
    stage_again: bool = False  # the intent `stage-again` is possible
    stopped: str = ""  # why the joint is stopped by a failed fastener and what to do; "" if it is not
    sides: JointSides = NO_SIDES


class HoldInput(Struct, frozen=True, tag="hold"):
    """A hold to sign."""

    role: str
    text: str
    signed: str  # name of the signer; "" before the signature
    complete: bool
    self_signed: bool = False  # the signer worked on the operation


Input = ReadingInput | CalculatedInput | ChoiceInput | CheckInput | LotInput | TightenInput | HoldInput


class FigureRow(Struct, frozen=True):
    """A figure of an operation and where it comes from; ``source`` is "" if the file does not say it.

    ``by_default`` is true for the source of the whole procedure, ``own_choice`` for a choice of the author.
    """

    name: str
    text: str
    source: str
    own_choice: bool = False
    by_default: bool = False


class OperationView(Struct, frozen=True):
    """One operation with its inputs: the one in progress, or the one to do next (``in_progress`` is false).

    It is ``reopened`` if it was finished and a later entry has put a value in it out of its limit. It is then started
    again, and not ``done``.
    """

    operation: str
    number: int
    title: str
    cautions: tuple[Caution, ...]
    do: tuple[str, ...]  # paragraphs and numbered lines
    because: str  # the reason for the operation, from the procedure
    uses: tuple[str, ...]
    inputs: tuple[Input, ...]
    in_progress: bool
    missing: tuple[Reason, ...]  # why it cannot be finished; if it is not in progress, why it cannot start
    pause_allowed: bool = True
    starts_by_entry: bool = False  # the first entry may start it: nothing has to be read or waited for before
    finishes_by_entry: bool = False  # the last entry may finish it: no signature is open
    reopened: bool = False
    reopened_by: tuple[Reason, ...] = ()  # what is out of its limit since the operation was finished
    done: bool = False
    asked: AskedFigure | None = None  # a time, or the range of an instrument, that has to be given first
    asked_ahead: tuple[AskedFigure, ...] = ()  # all figures that can be given before it is started
    rework: str = ""  # the operation to rework, if its rework is possible now; "" if there is none
    figures: tuple[FigureRow, ...] = ()  # its figures and where they come from
    unknown_states: tuple[str, ...] = ()  # titles of the states that block it because they are not known


class MoveRow(Struct, frozen=True):
    """A move. ``refused`` has the reasons that block it; empty if it can be made now."""

    move: str
    title: str
    do: str
    cautions: tuple[Caution, ...]
    refused: tuple[Reason, ...]


class ReworkView(Struct, frozen=True):
    """The current step of a rework that is done step by step."""

    operation: str  # the goal: the operation to rework
    step: int  # from 1
    of: int
    title: str  # of the step: an operation to undo or a move to make
    do: str
    cautions: tuple[Caution, ...]
    discard: tuple[str, ...]  # titles of the parts to discard
    is_move: bool


class BenchView(Struct, frozen=True):
    """Everything that the bench screen shows."""

    title: str
    unit: str
    by: str
    saved: int  # number of events on disk
    simulated: bool
    read_only: str  # why the log cannot be written; "" if it can
    done: int  # operations that are done and not reopened
    of: int
    now: OperationView | None  # None if all operations are done or the job is closed
    rework: ReworkView | None
    state_rows: tuple[StateRow, ...]
    clocks: tuple[ClockRow, ...]
    operations: tuple[OperationRow, ...]  # all operations, in the order of the procedure
    moves: tuple[MoveRow, ...]
    closed: bool = False
    finished: bool = False  # all operations are done, and none is reopened
