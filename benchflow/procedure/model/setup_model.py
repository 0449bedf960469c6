"""What a procedure states before its operations: options, state, rules, moves, kit, instruments, joints, failures."""

from decimal import Decimal
from typing import Literal

from msgspec import Struct

from benchflow.procedure.model.model_basics import Caution, Mark, Ref, Settings, Values
from benchflow.procedure.model.tighten_stages import NO_TOLERANCE, TickTolerance
from benchflow.quantity import Limit, Quantity


class Document(Struct, frozen=True):
    """A document that figures are taken from, such as a workshop manual. ``date`` is as printed on it."""

    id: str
    title: str
    edition: str = ""
    date: str = ""
    mark: Mark = Mark()


class Option(Struct, frozen=True):
    """A question asked when a job is started."""

    name: str
    ask: str
    choices: tuple[str, ...]
    mark: Mark = Mark()


class Variable(Struct, frozen=True):
    """A state variable: one feature of the assembly and its possible values.

    ``start`` is the value at the start of a job, ``None`` if the builder is asked for it. ``words`` maps a value to its
    text for the bench ("at-deck": "at the deck"); a value without an entry is shown as it is. ``found`` says who can
    enter a value that was found: ``anyone`` (""), a role or ``never``.

    A variable with ``each`` is one variable for each place of that set. The reader makes them: ``pushrod[2]`` has the
    ``family`` pushrod and the ``place`` 2.
    """

    name: str
    values: tuple[str, ...]
    start: str | None
    ask: str = ""
    title: str = ""
    words: dict[str, str] = {}
    mark: Mark = Mark()
    found: str = ""
    each: str | None = None
    family: str = ""
    place: str | None = None


class Rule(Struct, frozen=True):
    """An interference rule: a combination of values that must never occur."""

    never: Values
    because: str
    mark: Mark = Mark()


class Move(Struct, frozen=True):
    """A change of state that may be made any number of times between operations, such as turning the crank.

    ``during`` is the state while it is made. ``restarts`` are the operations whose clocks it starts again.
    """

    id: str
    title: str
    do: str = ""
    cautions: tuple[Caution, ...] = ()
    when: Values = {}
    needs: Values = {}
    sets: Settings = {}
    mark: Mark = Mark()
    during: Settings = {}
    restarts: tuple[Ref, ...] = ()


class KitItem(Struct, frozen=True):
    """A part or a consumable. ``life`` is how long it can be used after it was opened.

    ``supplier`` is ``customer``, or another supplier; "" and ``shop`` mean the shop itself. With ``supplier_option``
    the answer to that option is the supplier.
    """

    id: str
    kind: Literal["part", "consumable"]
    title: str
    quantity: str = ""
    lot_required: bool = False
    discard: bool = False
    life: Quantity | None = None
    mark: Mark = Mark()
    pn: str = ""  # the part number, every digit as written
    supplier: str = ""  # the author's key is `from`
    supplier_option: str = ""
    source: str = ""  # of its figures, as written


class InstrumentNeed(Struct, frozen=True):
    """An instrument that the procedure needs. Which instruments the shop has is in the shop's register.

    ``covers`` is the measuring range that is needed. ``uncertainty`` is the largest accepted expanded uncertainty: a
    percentage of the reading (``at most 4 %``) or a quantity. ``unfit`` decides if an unfit instrument is refused or
    only warned about. A setting outside the range of a torque wrench is always refused.
    """

    id: str
    kind: str
    title: str = ""
    covers: Limit | None = None
    uncertainty: Limit | None = None
    unfit: Literal["refuse", "warn"] = "refuse"
    mark: Mark = Mark()
    asked: Mark | None = None  # where its range is asked for; it is still to be filled in
    source: str = ""  # of its figures, as written
    given: str = ""  # the source of a range that was filled in at the bench


class GripSegment(Struct, frozen=True):
    """A length of a bolt within the grip. A thread has no ``diameter``; a shank without one has the thread size."""

    kind: Literal["shank", "neck", "thread"]
    length: Quantity
    diameter: Quantity | None = None


class JointSides(Struct, frozen=True):
    """What is on each side of a drawn joint, such as ``front``; empty where the author says nothing."""

    left: str = ""
    right: str = ""
    top: str = ""
    bottom: str = ""


NO_SIDES = JointSides()


class Joint(Struct, frozen=True):
    """A bolted joint.

    ``layout`` shows the fasteners from above as rows of cells: a fastener's number, ``None`` for an empty cell. The
    numbers are 1..count in tightening order. ``to_yield`` is true if the fasteners are tightened beyond their proof
    load on purpose. ``grip`` has the segments of a bolt between head and nut, in their order.
    """

    id: str
    title: str
    layout: tuple[tuple[int | None, ...], ...]
    count: int
    thread: str = ""
    grade: str = ""  # the author's key is `class`
    lubricant: str = ""
    nut_factor: Decimal | None = None
    groups: dict[str, tuple[int, ...]] = {}
    pattern: str = ""
    mark: Mark = Mark()
    tolerance: TickTolerance = NO_TOLERANCE
    left_hand: bool = False
    to_yield: bool = False
    grip: tuple[GripSegment, ...] = ()
    thread_mark: Mark = Mark()
    grade_mark: Mark = Mark()
    grip_mark: Mark = Mark()
    sides: JointSides = NO_SIDES
    asked: dict[str, Mark] = {}  # the keys that are still to be filled in, and where each is written
    source: str = ""  # of its figures, as written; its stages have it too unless they have their own
    given: dict[str, str] = {}  # the keys that were filled in at the bench, each with its source


class Failure(Struct, frozen=True):
    """A complaint that a customer may come back with, in his words. ``words`` are other words that he may use."""

    id: str
    text: str
    mark: Mark = Mark()
    words: tuple[str, ...] = ()


class ProcedureChange(Struct, frozen=True):
    """A change of the procedure: the revision that it made, its date (``2026-03-01`` or ""), what and why.

    ``from_`` are the log lines that it comes from, as `benchflow revise` writes them.
    """

    revision: str
    date: str
    what: str
    why: str = ""
    from_: tuple[str, ...] = ()
    mark: Mark = Mark()
