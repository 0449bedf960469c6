"""What a log says about the log that its job continues, and about other logs of the same unit.

A job continues a log that cannot be used any more, usually because it is damaged. The first event of the new log has
everything that is needed to take over what was done, so the old file is not needed again.
"""

from typing import Literal

from msgspec import Struct, field

from benchflow.session.state.event_basics import Event, InstrumentShare, SignatureProof, StoredQuantity

Basis = Literal["trusted", "untrusted", "none"]
"""What says that an operation was done: the good part of the old log, its lines after the damage, or nothing in it."""


class EarlierOperation(Struct, frozen=True, omit_defaults=True):
    """An operation that the old log has as done, in its good part or, not trusted, after the damage."""

    operation: str
    seq: int  # of the event that finished it
    trusted: bool = True
    at: str = ""  # when it was finished; not given if it is not trusted
    boot: str = ""
    ms: int = 0
    people: tuple[str, ...] = ()  # everybody who worked on it
    enterers: tuple[str, ...] = ()  # everybody who entered something
    unknown: tuple[str, ...] = ()  # the state variables that it left not known
    evidence: tuple[int, ...] = ()  # ``seq`` of its entries and signatures since it was last undone
    findings: dict[str, tuple[str, ...]] = {}  # what was found, for each finding that decides what is done


class EarlierEntry(Struct, frozen=True, omit_defaults=True):
    """A reading, a chosen part or a lot that was in force in the good part of the old log."""

    operation: str
    kind: Literal["reading", "part", "lot"]
    seq: int
    name: str
    reading: str = ""
    value: str = ""  # of a reading: the exact number in ``unit``
    unit: str = ""
    entered: str = ""  # a reading as typed, a part, or a lot number
    uncertainty: str = ""  # standard uncertainty in ``unit``
    uncertainty_entered: str = ""
    instrument: str = ""  # id of the instrument in the procedure
    serial: str = ""
    used: bool = False
    at: str = ""  # when a reading was entered
    boot: str = ""
    ms: int = 0
    tools: tuple[InstrumentShare, ...] = ()  # all instruments, if the reading was taken with several


class EarlierFigure(Struct, frozen=True, omit_defaults=True):
    """A figure that was given in the good part of the old log, as :class:`FigureGiven` has it, or its correction.

    ``operation`` is set for the figure of a stage. Any other is known by the place in the procedure that asks for it.
    """

    seq: int
    figure: str
    source: str
    operation: str = ""
    joint: str = ""
    stage: int = 0
    quantity: StoredQuantity | None = None
    what: str = ""
    name: str = ""
    asked_at: tuple[int, int] | None = None


class ContinuedLog(Struct, frozen=True, omit_defaults=True):
    """The log that a job continues, and what its good part says.

    ``head`` is the hash of the last good event ("" without one), and ``events`` their number. ``line`` and ``damage``
    describe the first damaged line; they are not set for a log that is whole.
    """

    file: str
    sha256: str  # of the whole file
    head: str
    events: int
    line: int = 0
    damage: str = ""
    untrusted: int = 0  # number of lines after the damage that can be read
    reason: str = ""  # why the old log is not continued itself
    unit: str = ""
    options: dict[str, str] = {}
    start: dict[str, str | None] = {}  # the start value of every state variable in the old log
    in_progress: str = ""  # the operation that was in progress or paused at the end of the good part
    done: tuple[EarlierOperation, ...] = ()  # in the order of finishing; those after the damage come last
    entries: tuple[EarlierEntry, ...] = ()
    figures: tuple[EarlierFigure, ...] = ()  # those given at the bench, which the procedure asks for
    called: dict[str, tuple[str, ...]] = {}  # called operation -> the operations with the remedies

    def operation(self, name: str) -> EarlierOperation | None:
        """What the old log says about an operation; ``None`` if it does not have it as done."""
        return next((each for each in self.done if each.operation == name), None)

    def entries_of(self, name: str) -> tuple[EarlierEntry, ...]:
        """The entries of an operation that can be taken over."""
        return tuple(each for each in self.entries if each.operation == name)


class EarlierJob(Struct, frozen=True):
    """Another log of the same unit on this bench."""

    file: str
    session: str  # hash of its first line
    opened_at: str
    done: int
    of: int  # number of operations of its procedure; 0 if not known


class OperationTakenOver(Event, frozen=True, tag="taken-over"):
    """An operation was done under the log that this job continues. The person in ``by`` of the line signed for that."""

    operation: str
    basis: Basis = "trusted"
    reason: str = ""
    evidence: tuple[int, ...] = ()  # ``seq`` in the old log
    unknown: tuple[str, ...] = ()  # state variables that the operation left not known
    role: str = ""  # the role that the signature needed; empty if anyone could sign
    proven: SignatureProof = ""
    findings: dict[str, tuple[str, ...]] = field(default_factory=dict)  # what was found, for each finding that decides
