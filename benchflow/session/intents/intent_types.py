"""What a builder, a script or a networked wrench may ask for: one type an intent.

Every intent may say ``by`` (who; the builder of the session otherwise). Those that speak of the
operation in progress may name it, and are refused if it is another.
"""

from msgspec import UNSET, Struct, UnsetType


class Base(Struct, frozen=True, tag_field="intent", forbid_unknown_fields=True):
    by: str | None = None


class Open(Base, frozen=True, tag="open"):
    unit: str = ""
    options: dict[str, str] = {}
    start: dict[str, str | None] = {}


class Status(Base, frozen=True, tag="status"):
    pass


class Why(Base, frozen=True, tag="why", kw_only=True):
    operation: str


class Route(Base, frozen=True, tag="route", kw_only=True):
    operation: str


class AskReworkPlan(Base, frozen=True, tag="rework-plan", kw_only=True):
    """What ``rework`` would take apart; nothing is logged."""

    operation: str


class Start(Base, frozen=True, tag="start", kw_only=True):
    operation: str


class Pause(Base, frozen=True, tag="pause"):
    operation: str | None = None


class Finish(Base, frozen=True, tag="finish"):
    operation: str | None = None


class PerformMove(Base, frozen=True, tag="move", kw_only=True):
    move: str


class Record(Base, frozen=True, tag="record", kw_only=True):
    name: str
    value: str
    reading: int | str | None = None
    place: int | str | None = None
    instrument: str | None = None
    operation: str | None = None
    used: bool | None = None  # judge by the limit for parts used again; as before if not said


class TickFastener(Base, frozen=True, tag="tick", kw_only=True, rename={"stretch_instrument": "stretch-instrument"}):
    joint: str
    fastener: int | str
    value: str | None = None
    stretch: str | None = None  # beside a torque, where the stage checks both
    stage: int | None = None
    instrument: str | None = None
    stretch_instrument: str | None = None
    operation: str | None = None


class Untick(Base, frozen=True, tag="untick", kw_only=True):
    """The last entry into a joint is cleared; it may be named."""

    joint: str
    fastener: int | str | None = None
    stage: int | None = None
    operation: str | None = None


class DrawDown(Base, frozen=True, tag="draw-down", kw_only=True):
    """One fastener (the next, where it is not said) was drawn down; or all are ``seated``, and the stages begin."""

    joint: str
    fastener: int | str | None = None
    seated: bool = False
    operation: str | None = None


class TickCheck(Base, frozen=True, tag="tick-check", kw_only=True):
    check: int | str
    operation: str | None = None
    undo: bool = False


class Choose(Base, frozen=True, tag="choose", kw_only=True):
    name: str
    take: str
    operation: str | None = None


class EnterLot(Base, frozen=True, tag="lot", kw_only=True):
    consumable: str
    lot: str
    operation: str | None = None


class Sign(Base, frozen=True, tag="sign", kw_only=True):
    operation: str
    pin: str | None = None


class Deviate(Base, frozen=True, tag="deviate", kw_only=True):
    operation: str
    about: str
    reason: str
    pin: str | None = None


class RemedyDone(Base, frozen=True, tag="remedy", kw_only=True):
    """The remedy shown for a value out of its limit was carried out."""

    name: str
    operation: str | None = None


class Rework(Base, frozen=True, tag="rework", kw_only=True):
    """``walk``: the steps of the plan follow one by one (``rework-step``); otherwise all were done."""

    operation: str
    reason: str
    walk: bool = False


class NextReworkStep(Base, frozen=True, tag="rework-step"):
    """The next step of the work coming apart was done."""


class Note(Base, frozen=True, tag="note", kw_only=True):
    text: str
    operation: str | None = None


class Correct(Base, frozen=True, tag="correct", kw_only=True):
    event: int
    value: str
    reason: str
    stretch: str | None = None  # of a tick that read both


class Wrench(Base, frozen=True, tag="wrench", kw_only=True):
    """What is on the torque wrench: ``extension`` from the square to the fastener ("none": nothing),
    ``lever`` from the square to the grip, ``angle`` between them (in line where not said)."""

    extension: str
    lever: str | None = None
    angle: str | None = None


class Lubricant(Base, frozen=True, tag="lubricant", kw_only=True, rename={"nut_factor": "nut-factor"}):
    """What is really on the threads of a joint, and its nut factor where it is known."""

    joint: str
    lubricant: str
    nut_factor: str | None = None


class SetState(Base, frozen=True, tag="set-state", kw_only=True):
    """The state found on the engine; ``null``: it is not known."""

    variable: str
    value: str | UnsetType | None = UNSET
    reason: str = ""


class Close(Base, frozen=True, tag="close"):
    """``unfinished``: why the session ends with operations left open."""

    unfinished: str = ""


Intent = (
    Open | Status | Why | Route | AskReworkPlan | Start | Pause | Finish | PerformMove | Record | TickFastener | Untick
    | DrawDown | TickCheck | Choose | EnterLot | Sign | Deviate | RemedyDone | Rework | NextReworkStep | Note | Correct
    | Wrench | Lubricant | SetState | Close
)  # fmt: skip

Query = Status | Why | Route | AskReworkPlan

KINDS: dict[str, type[Base]] = {str(kind.__struct_config__.tag): kind for kind in Intent.__args__}
"""By the name under ``intent``. :mod:`benchflow.session.intents.parsing` makes one of plain JSON."""
