"""The events of a joint: its torques, ticks, failed fasteners and draw-down.

They are part of :mod:`benchflow.session.state.events`.
"""

from typing import Literal

from benchflow.session.state.event_basics import Event, StoredQuantity
from benchflow.trade.verdict import Verdict

CheckAnswer = Literal["", "held", "moved"]
"""The answer of a click wrench at a check stage: the fastener held its torque, or it moved."""

FastenerFailure = Literal["stripped", "broken", "turning"]
"""What happened to a fastener that cannot be tightened. ``turning``: it turns without getting tighter."""


class FastenerTicked(Event, frozen=True, tag="ticked"):
    """A fastener was done in one stage of tightening."""

    operation: str
    joint: str
    stage: int  # from 1
    fastener: int
    quantity: StoredQuantity | None = None
    verdict: Verdict = "none"
    limit: str = ""  # the band that the reading was judged by, and where its tolerance comes from
    loosened: bool = False  # the fastener was let off and brought up again before this tick
    answer: CheckAnswer = ""  # at a check stage, of a wrench that shows no reading
    instrument: str | None = None
    serial: str | None = None
    stretch: StoredQuantity | None = None  # only where the stage checks torque and stretch
    corner: str = ""  # diagnosis from torque and stretch, such as "friction-high" (trade.torque_and_stretch)
    stretch_instrument: str | None = None
    stretch_serial: str | None = None
    torque: StoredQuantity | None = None  # of the stage, if its figure is not in the procedure
    together: bool = False  # entered together with the rest of the stage, not one by one


class FigureGiven(Event, frozen=True, tag="figure-given"):
    """A figure that is not in the file was given, with its source: of a stage, or any other that is asked for.

    For a stage ``asked_at`` is ``None``. Otherwise it is the line and column in the procedure that ask for the figure,
    ``what`` its kind, and ``name`` its title in a few words; ``joint``, ``stage`` and ``quantity`` are then empty.
    ``earlier`` is the event of the log that the job continues, if the figure is taken over from it.
    """

    operation: str
    joint: str = ""
    stage: int = 0  # from 1
    quantity: StoredQuantity | None = None  # of a limit, its nominal value or its middle
    figure: str = ""  # as typed: a quantity, a limit or a text
    source: str = ""
    what: str = ""
    name: str = ""
    asked_at: tuple[int, int] | None = None
    earlier: int | None = None


class ReadingsJudgedAgain(Event, frozen=True, tag="readings-judged-again"):
    """Readings of a value were judged again, because the limit that was given at the bench is another one now.

    With ``further`` it is that further limit, from 1. With ``together`` the verdict is that on the figure of all these
    readings, such as their mean.
    """

    operation: str
    name: str
    limit: str
    verdicts: dict[str, Verdict]  # by ``seq`` of the reading
    further: int = 0
    together: bool = False


class TicksJudgedAgain(Event, frozen=True, tag="judged-again"):
    """The ticks of a stage were judged again, because its torque is another one than when they were made."""

    operation: str
    joint: str
    stage: int  # from 1
    torque: StoredQuantity  # the torque of the stage now
    limit: str  # the band that they are judged by
    verdicts: dict[str, Verdict]  # by ``seq`` of the tick


class FastenerUnticked(Event, frozen=True, tag="unticked"):
    """The last tick of a fastener in a stage was cleared."""

    operation: str
    joint: str
    stage: int
    fastener: int


class StageBegunAgain(Event, frozen=True, tag="stage-again"):
    """The current stage was begun again: all its ticks were cleared. The earlier stages stay."""

    operation: str
    joint: str
    stage: int  # from 1
    cleared: int  # number of ticks


class FastenerFailed(Event, frozen=True, tag="fastener-failed"):
    """A fastener stripped, broke or turned without getting tighter. The joint is stopped."""

    operation: str
    joint: str
    stage: int  # the stage in which it failed, from 1; 0 before the first stage
    fastener: int
    what: FastenerFailure
    quantity: StoredQuantity | None = None  # the torque or angle that it reached


class FastenerFailureCleared(Event, frozen=True, tag="failure-cleared"):
    """The entry that a fastener failed was cleared, because it was wrong."""

    operation: str
    joint: str
    fastener: int
    what: FastenerFailure


class FastenerRepaired(Event, frozen=True, tag="repaired"):
    """A failed fastener was repaired. The joint is begun again: its ticks, its draw-down and its later checks are void.

    The lots of the parts ``discard`` are void, too.
    """

    operation: str
    joint: str
    fastener: int
    repair: str  # such as "M10 thread insert fitted"
    discard: tuple[str, ...] = ()  # ids of the parts that cannot be used again once the joint is loosened


class FastenerDrawnDown(Event, frozen=True, tag="drawn-down"):
    """A fastener was turned down a little, before the first stage, so that the part comes down level."""

    operation: str
    joint: str
    round: int  # from 1
    fastener: int


class DrawDownTurnCleared(Event, frozen=True, tag="undrawn"):
    """The last entered turn of the draw-down was cleared."""

    operation: str
    joint: str
    round: int
    fastener: int


class PartSeated(Event, frozen=True, tag="seated"):
    """The part was confirmed to be down and level. The first stage can begin."""

    operation: str
    joint: str
    turns: int  # number of draw-down turns entered; 0 if none were


class SeatingCleared(Event, frozen=True, tag="unseated"):
    """The confirmation that the part is down was cleared. The draw-down continues."""

    operation: str
    joint: str
