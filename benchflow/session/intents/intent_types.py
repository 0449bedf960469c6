"""The intents: one class for each request that a screen, a script or a connected wrench can send.

In JSON the class is named by the key ``intent``, and each field has the key of the same name. A field without a
default is required.
"""

from msgspec import UNSET, Struct, UnsetType


class BaseIntent(Struct, frozen=True, tag_field="intent", forbid_unknown_fields=True):
    """The base class of all intents.

    An intent with an optional ``operation`` is for the operation in progress. The intent is refused if it names another
    operation.
    """

    by: str | None = None  # the person; the builder of the job if not given


class OpenJob(BaseIntent, frozen=True, tag="open"):
    """Start a job."""

    unit: str = ""  # the unit under build: its serial number or job number
    options: dict[str, str] = {}
    start: dict[str, str | None] = {}  # start values of the state variables; null if not known
    reason: str = ""  # only with --continue-from: why a log that is whole and open is not continued itself


class AskStatus(BaseIntent, frozen=True, tag="status"):
    """Query: the state of the job."""


class AskWhy(BaseIntent, frozen=True, tag="why", kw_only=True):
    """Query: why an operation cannot be started or finished now."""

    operation: str


class AskRoute(BaseIntent, frozen=True, tag="route", kw_only=True):
    """Query: the shortest safe route to an operation."""

    operation: str


class AskReworkPlan(BaseIntent, frozen=True, tag="rework-plan", kw_only=True):
    """Query: the steps that the rework of an operation would take."""

    operation: str


class StartOperation(BaseIntent, frozen=True, tag="start", kw_only=True):
    """Start an operation, or continue a paused one."""

    operation: str


class PauseOperation(BaseIntent, frozen=True, tag="pause"):
    """Pause the operation in progress."""

    operation: str | None = None


class FinishOperation(BaseIntent, frozen=True, tag="finish"):
    """Finish the operation in progress."""

    operation: str | None = None


class PerformMove(BaseIntent, frozen=True, tag="move", kw_only=True):
    """Make a move, such as turning the engine over."""

    move: str


class RecordReading(BaseIntent, frozen=True, tag="record", kw_only=True):
    """Record a reading of a value."""

    name: str  # of the value
    value: str  # the quantity as text, such as "0.045 mm"
    reading: int | str | None = None  # number of the reading; the next open one if not given
    place: int | str | None = None  # place of the reading or of the operation
    instrument: str | tuple[str, ...] | None = None  # serial number or id in the register; a list for several together
    operation: str | None = None
    used: bool | None = None  # true if the limit for used parts applies; as in the reading before if not given


class TickFastener(
    BaseIntent, frozen=True, tag="tick", kw_only=True, rename={"stretch_instrument": "stretch-instrument"}
):
    """Tick a fastener in one stage of tightening, with the quantity read if there is one."""

    joint: str
    fastener: int | str
    value: str | None = None
    stretch: str | None = None  # only where the stage checks torque and stretch
    stage: int | None = None  # from 1; the current stage if not given
    answer: str | None = None  # "held" or "moved", at a check stage, of a wrench that shows no reading
    loosened: bool = False  # true if the fastener was let off and brought up again, after a tick that was too high
    instrument: str | None = None
    stretch_instrument: str | None = None
    operation: str | None = None


class GiveFigure(BaseIntent, frozen=True, tag="figure", kw_only=True, rename={"source": "from", "grade": "class"}):
    """Give a figure that the procedure asks for (`ask`), with its source.

    It is one of: the figure of a ``stage`` of a ``joint``; the ``layout``, ``lubricant``, ``thread`` or ``class`` of a
    joint; the limit of the value ``name`` (``used``: for used parts; ``further``: the number of a further limit); the
    range of an ``instrument``; the time of an ``operation`` ``since`` another one.
    """

    source: str  # in JSON: from
    value: str = ""  # a quantity such as "110 ft-lb", or a limit
    joint: str | None = None
    stage: int | None = None  # from 1
    layout: str | None = None  # rows in tightening order, separated by /
    lubricant: str | None = None
    thread: str | None = None
    grade: str | None = None  # in JSON: class
    name: str | None = None
    reading: str | int | None = None
    place: str | int | None = None
    used: bool = False
    further: int | None = None
    instrument: str | None = None
    operation: str | None = None
    since: str | None = None


class UntickFastener(BaseIntent, frozen=True, tag="untick", kw_only=True):
    """Clear the last entry of a joint: a failed fastener, a tick, the confirmation "all seated", or a draw-down turn.

    ``fastener`` and ``stage``, if given, must match the last entry.
    """

    joint: str
    fastener: int | str | None = None
    stage: int | None = None
    operation: str | None = None


class TickRest(BaseIntent, frozen=True, tag="tick-rest", kw_only=True):
    """Enter the rest of the current stage as done, all fasteners together.

    Each tick is logged as entered together with the others, which is weaker evidence than one by one.
    """

    joint: str
    stage: int | None = None  # from 1; it must be the current stage
    instrument: str | None = None
    operation: str | None = None


class BeginStageAgain(BaseIntent, frozen=True, tag="stage-again", kw_only=True):
    """Begin the current stage of a joint again: all its ticks are cleared, the earlier stages stay."""

    joint: str
    operation: str | None = None


class ReportFailedFastener(BaseIntent, frozen=True, tag="fastener-failed", kw_only=True):
    """Log that a fastener stripped, broke or turns without getting tighter. The joint is stopped."""

    joint: str
    fastener: int | str
    what: str  # "stripped", "broken" or "turning"
    value: str | None = None  # the torque or angle that it reached
    operation: str | None = None


class RepairFastener(BaseIntent, frozen=True, tag="repair", kw_only=True):
    """Log that a failed fastener was repaired. The joint is begun again."""

    joint: str
    fastener: int | str
    repair: str  # such as "M10 thread insert fitted"
    operation: str | None = None


class DrawDown(BaseIntent, frozen=True, tag="draw-down", kw_only=True):
    """Enter a draw-down turn of one fastener, or confirm that all are seated."""

    joint: str
    fastener: int | str | None = None  # the next fastener if not given
    seated: bool = False  # true if all are seated
    operation: str | None = None


class TickCheck(BaseIntent, frozen=True, tag="tick-check", kw_only=True):
    """Answer a check of the operation in progress, or clear its answer."""

    check: int | str  # its number, from 1, its id or its text
    operation: str | None = None
    answer: str = "yes"  # "no" if it is not so
    undo: bool = False  # true to clear the answer


class ChoosePart(BaseIntent, frozen=True, tag="choose", kw_only=True):
    """Choose a part from a table, or for one place of a matching."""

    name: str  # of the table, or of the matching with the place, such as "shims[3]"
    place: int | str | None = None  # place of the operation or of the matching, if not in the name
    take: str  # the part; for a matching also the size of a new part
    reason: str = ""  # why this part was chosen
    operation: str | None = None


class EnterLot(BaseIntent, frozen=True, tag="lot", kw_only=True):
    """Enter the lot number of a part or consumable."""

    consumable: str
    lot: str
    operation: str | None = None


class SignHold(BaseIntent, frozen=True, tag="sign", kw_only=True):
    """Sign the hold of an operation. ``by`` is the signer and must be given."""

    operation: str
    pin: str | None = None


class SignDeviation(BaseIntent, frozen=True, tag="deviate", kw_only=True):
    """Sign a deviation. ``by`` is the signer."""

    operation: str
    about: str  # name of a value, a part or a joint, one fastener ("studs[3]"), or "limit", "hold" or "time"
    reason: str
    pin: str | None = None
    change: bool = False  # true to mark it "change the procedure", for `benchflow revise`


class CarryOutRemedy(BaseIntent, frozen=True, tag="remedy", kw_only=True):
    """Log that the remedy in turn was carried out: for a value or a fastener out of its limit, or a check answered no.

    ``name`` is the value or one reading, such as "gap" or "gap[2]" (the plain name if only one reading is out); the
    joint; or the id, text or number of the check.
    """

    name: str
    fastener: int | str | None = None  # if `name` is a joint; not needed if only one fastener is out
    reading: int | str | None = None  # number of the reading
    place: int | str | None = None  # place of the reading or of the operation
    operation: str | None = None


class StartRework(BaseIntent, frozen=True, tag="rework", kw_only=True):
    """Start the rework of a finished operation."""

    operation: str
    reason: str
    walk: bool = (
        False  # true if each step is logged by its own "rework-step"; false if all steps are logged as done now
    )


class DoReworkStep(BaseIntent, frozen=True, tag="rework-step"):
    """Log that the next step of the rework plan was done."""


class AddNote(BaseIntent, frozen=True, tag="note", kw_only=True):
    """Add a note to the log."""

    text: str
    operation: str | None = None  # any operation; the one in progress if not given
    change: bool = False  # true to mark it "change the procedure", for `benchflow revise`


class ReportComplaint(BaseIntent, frozen=True, tag="complaint", kw_only=True):
    """Log a customer's complaint with the answers to the first questions. Accepted after the end of the job too."""

    text: str  # in the customer's words
    running: str = ""  # "yes" or "no": the engine is still run
    since: str = ""  # hours or distance since the build: "40 h", "1200 km"
    when: str = ""  # "hot" or "cold"
    touched: str = ""  # who has worked on it since the build
    retorque: str = ""  # "yes" or "no": the fasteners were checked again, as the follow-up says
    changed: str = ""  # change of fuel, tune or use


class RecordFinding(BaseIntent, frozen=True, tag="found", kw_only=True):
    """Log what a come-back turned out to be. Accepted after the end of the job too. ``by`` signs for it."""

    complaint: str
    finding: str
    outcome: str  # "ours", "machine-shop", "part", "customer-part", "use" or "unknown"
    operation: str | None = None  # the step that caused it or should have prevented it
    date: str = ""  # the day of the finding, such as 2026-03-01; today if not given
    hours: str = ""  # hours of work that the come-back took
    replaces: int | None = None  # ``seq`` of the finding that this one corrects
    pin: str | None = None  # of ``by``


class AttachPicture(BaseIntent, frozen=True, tag="attach", kw_only=True):
    """Attach a picture, and keep a copy of its file beside the log. Accepted after the end of the job too.

    It shows one thing: a value or one reading, a joint or one fastener, a note, an operation. Without these fields it
    shows the operation in progress, or the job.
    """

    file: str  # path of the picture
    operation: str | None = None  # any operation; "" for the whole job
    name: str | None = None  # of a value
    reading: int | str | None = None  # number of the reading
    place: int | str | None = None  # place of the reading or of the operation
    joint: str | None = None
    fastener: int | str | None = None  # of the joint
    event: int | None = None  # ``seq`` of a note, deviation, correction, failed fastener, complaint or finding
    text: str = ""  # caption


class WithdrawFinding(BaseIntent, frozen=True, tag="withdraw", kw_only=True):
    """Withdraw a wrong finding or picture. Accepted after the end of the job too. ``by`` signs for a finding."""

    event: int  # ``seq`` of the finding or of the picture
    reason: str
    pin: str | None = None  # of ``by``


class CorrectEntry(BaseIntent, frozen=True, tag="correct", kw_only=True, rename={"source": "from"}):
    """Correct a wrong entry of the log. Of a figure, the ``value``, its source (``from``) or both can be."""

    event: int  # ``seq`` of the wrong entry
    reason: str
    value: str = ""  # the correct quantity, answer ("held" or "moved") or lot number; "" if only the source was wrong
    source: str = ""  # in JSON: from; the correct source of a figure
    stretch: str | None = None  # only for a tick with torque and stretch
    pin: str | None = None  # of ``by``, if a deviation about the entry would need a signature
    change: bool = False  # true to mark it "change the procedure", for `benchflow revise`


class SetWrenchAdapter(BaseIntent, frozen=True, tag="wrench", kw_only=True):
    """Enter the adapter on the torque wrench. ``extension`` is "none" without an adapter."""

    extension: str  # from the square drive to the middle of the fastener
    lever: str | None = None  # from the square drive to the middle of the grip
    angle: str | None = None  # between the two; in line if not given
    instrument: str | None = None  # the wrench: serial number or id in the register; the one in use if not given


class SetLubricant(BaseIntent, frozen=True, tag="lubricant", kw_only=True, rename={"nut_factor": "nut-factor"}):
    """Enter the lubricant on the threads of a joint, and its nut factor if known."""

    joint: str
    lubricant: str
    nut_factor: str | None = None


class SetState(BaseIntent, frozen=True, tag="set-state", kw_only=True):
    """Set a state variable to the value found on the engine."""

    variable: str
    value: str | UnsetType | None = UNSET  # null if it is not known
    reason: str = ""  # must be given if a `never` rule names the variable
    pin: str | None = None  # of ``by``, if `found` names a role


class TakeOver(BaseIntent, frozen=True, tag="take-over", kw_only=True):
    """Say that an operation was done under the log that this job continues. ``by`` signs for it and must be given."""

    operation: str
    reason: str = ""  # must be given if the good part of that log does not have the operation as done
    pin: str | None = None  # of ``by``


class CloseJob(BaseIntent, frozen=True, tag="close"):
    """Close the job."""

    unfinished: str = ""  # reason for closing it with operations that are not finished


Intent = (
    OpenJob | AskStatus | AskWhy | AskRoute | AskReworkPlan | StartOperation | PauseOperation | FinishOperation
    | PerformMove | RecordReading | GiveFigure | TickFastener | TickRest | UntickFastener | BeginStageAgain
    | ReportFailedFastener | RepairFastener | DrawDown | TickCheck | ChoosePart | EnterLot | SignHold | SignDeviation
    | CarryOutRemedy | StartRework | DoReworkStep | AddNote | CorrectEntry | SetWrenchAdapter | SetLubricant | SetState
    | TakeOver | CloseJob | ReportComplaint | RecordFinding | WithdrawFinding | AttachPicture
)  # fmt: skip

AfterClose = AddNote | AttachPicture | ReportComplaint | RecordFinding | WithdrawFinding
"""The intents that are accepted after the end of the job."""

Query = AskStatus | AskWhy | AskRoute | AskReworkPlan
"""The intents that are answered without an event."""

INTENT_TYPES: dict[str, type[BaseIntent]] = {str(each.__struct_config__.tag): each for each in Intent.__args__}
"""The class of each intent by its name in JSON."""
