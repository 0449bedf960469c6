"""What the bench shows, as plain data: made from the state by pure functions, drawn by the screens.

Nothing here knows how wide a terminal is. Every text is clean and final; a screen adds layout only.
"""

from typing import Literal

from msgspec import Struct

from benchflow.procedure.model import Caution
from benchflow.session.refusal import Reason


class StandRow(Struct, frozen=True):
    """How one variable stands: ``pistons``, ``at the deck``."""

    variable: str
    title: str
    words: str
    known: bool = True


class ClockRow(Struct, frozen=True):
    """A running window. ``seconds`` counts down to ``phase``'s end and is negative once it is past."""

    operation: str  # the one that must be finished (or may not begin) yet
    title: str
    since: str  # title of the operation it counts from
    phase: Literal["wait", "open", "closing", "missed"]
    seconds: float | None
    advice: str


class NextRow(Struct, frozen=True):
    """A line of what comes next."""

    operation: str
    number: int
    title: str
    status: Literal["ready", "blocked", "paused", "in-progress", "done"]
    reason: str = ""  # the first, in words, when stopped
    section: str = ""


class Gauge(Struct, frozen=True):
    """Where a reading lies: all as fractions of the drawn span, 0 to 1; ``None`` where open or unread."""

    low: float | None
    high: float | None
    guard_low: float | None
    guard_high: float | None
    value: float | None


class Reading(Struct, frozen=True):
    """One field of a value: ``slot`` is "1", "2" or a place."""

    slot: str
    shown: str  # "0.12 mm", with the entered text when it was another unit; "" when open
    verdict: Literal["", "in", "out", "not-proven", "none"]
    side: Literal["", "low", "high"] = ""
    attempts: int = 0
    waived: bool = False
    stale: bool = False  # read before the remedy that was carried out since: it is to be read again


class ReadingInput(Struct, frozen=True, tag="reading"):
    name: str
    ask: str
    unit: str
    limit: str
    decision: str
    readings: tuple[Reading, ...]
    instrument: str  # title of the instrument asked for, or ""
    complete: bool
    gauge: Gauge | None = None
    summary: str = ""  # "mean 0.13 mm, in" where the judgement is not of each reading
    remedy: str = ""  # what to do now about one out of its limit
    stops: bool = False  # the remedy is to stop: it cannot be said to be carried out
    redo: tuple[str, ...] = ()  # titles of what is to be done again when it was carried out


class WorkedInput(Struct, frozen=True, tag="calculated"):
    """Calculated out by the program; nothing to enter."""

    name: str
    title: str
    formula: str
    filled: str  # with the numbers in, "" until they are there
    shown: str
    limit: str
    verdict: Literal["", "in", "out", "not-proven", "none"]
    complete: bool
    gauge: Gauge | None = None
    waived: bool = False
    remedy: str = ""
    stops: bool = False
    redo: tuple[str, ...] = ()


class ChoiceInput(Struct, frozen=True, tag="choice"):
    """A part to choose. ``proposed`` is what the table gives; several where it is for the builder to say."""

    name: str
    title: str
    proposed: tuple[str, ...]
    choices: tuple[str, ...]
    taken: str
    complete: bool
    note: str = ""
    other: str = ""  # the unit in which a size that is not among the choices may be entered; "" for none
    sizes: tuple[str, ...] = ()  # of each choice, where it was measured


class CheckInput(Struct, frozen=True, tag="check"):
    number: int  # from 1
    text: str
    complete: bool


class LotInput(Struct, frozen=True, tag="lot"):
    consumable: str
    title: str
    lot: str
    complete: bool


class Fastener(Struct, frozen=True):
    """``stage`` is the last stage done, 0 for none; ``part`` whether the stage in hand includes it.

    ``shown`` is what was read on it last ("110 N·m, 0.15 mm"), with the verdict of the check it was read for. ``turns``
    is how often it was drawn down."""

    number: int
    row: int
    column: int
    stage: int
    part: bool = True
    turns: int = 0
    shown: str = ""
    verdict: "Seen" = ""


Seen = Literal["", "in", "out", "none"]


class TickValue(Struct, frozen=True):
    """A reading that the tick of the stage in hand takes, under ``field`` of the intent."""

    field: Literal["value", "stretch"]
    title: str  # "torque", "angle", "stretch"
    unit: str
    limit: str


class DrawingDown(Struct, frozen=True):
    """A part that has to come down level before the first stage, counted turn by turn (the intent ``draw-down``).

    While ``open``, a turn of ``next`` may be entered, or that all are seated. It ends with that, or with the first tick
    of a stage where no turn was counted.
    """

    turn: str  # in the author's words: "half a turn, middle first"
    open: bool
    begun: bool  # a turn was counted: the stages wait until all are said to be seated
    seated: bool
    round: int  # in hand, from 1
    done: int  # in this round
    of: int
    next: int | None
    last: int | None
    words: str  # "draw down, round 3, 4 of 10: half a turn, middle first"; when over, "drawn down in 3 rounds"


class TightenInput(Struct, frozen=True, tag="tighten"):
    joint: str
    title: str
    fasteners: tuple[Fastener, ...]
    rows: int
    columns: int
    stages: tuple[str, ...]  # as shown: "60 N·m", "+90°"
    stage: int  # in hand, from 1; len(stages) + 1 when all are done
    next: int | None  # the fastener to tighten now
    done: int  # in this stage
    of: int  # in this stage
    words: str  # "7 of 10, stage 2 of 3: 60 N·m"
    last: int | None  # the fastener ticked last, which one key takes back
    settings: tuple[str, ...] = ()  # wrench setting, preload and the like, a line each
    wants_value: bool = False  # a check stage takes a reading with the tick
    complete: bool = False
    wanted: tuple[TickValue, ...] = ()  # which readings, in the order they are asked for
    drawing: DrawingDown | None = None
    again: tuple[int, ...] = ()  # fasteners that read out of the limit and may be read again by another tick
    again_stage: int = 0  # of this stage, which that tick has to name
    set_to: str = ""  # what the wrench is set to for the stage in hand, where an extension makes that another figure
    undo: str = ""  # what the intent `untick`, without a fastener, takes back, in words; "" for nothing


class HoldInput(Struct, frozen=True, tag="hold"):
    role: str
    text: str
    signed: str  # by whom, "" until then
    complete: bool
    self_signed: bool = False


Input = ReadingInput | WorkedInput | ChoiceInput | CheckInput | LotInput | TightenInput | HoldInput


class NowView(Struct, frozen=True):
    """The operation in hand, or the one that is offered next (``in_progress`` false)."""

    operation: str
    number: int
    title: str
    cautions: tuple[Caution, ...]
    do: tuple[str, ...]  # a paragraph or a numbered line each
    because: str
    uses: tuple[str, ...]
    inputs: tuple[Input, ...]
    in_progress: bool
    missing: tuple[Reason, ...]  # what stops it being finished (in hand) or taken up (not in hand)
    pause_allowed: bool = True


class MoveRow(Struct, frozen=True):
    move: str
    title: str
    do: str
    cautions: tuple[Caution, ...]
    refused: tuple[Reason, ...]


class ReworkView(Struct, frozen=True):
    """Work that comes apart step by step."""

    operation: str  # the one that was to be reopened
    step: int  # from 1
    of: int
    title: str  # of the step: an operation to take back or a move to make
    do: str
    cautions: tuple[Caution, ...]
    discard: tuple[str, ...]
    is_move: bool


class BenchView(Struct, frozen=True):
    title: str
    unit: str
    by: str
    saved: int  # events on disk
    simulated: bool
    read_only: str  # why, "" when it can be written
    done: int
    of: int
    now: NowView | None  # None when everything is done or nothing is ready
    rework: ReworkView | None
    standing: tuple[StandRow, ...]
    clocks: tuple[ClockRow, ...]
    next: tuple[NextRow, ...]  # every operation, in the author's order
    moves: tuple[MoveRow, ...]
    closed: bool = False
    finished: bool = False  # every operation is done
