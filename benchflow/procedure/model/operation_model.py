"""An operation as the author wrote it, and the sections and follow-up work around the operations."""

from collections.abc import Iterator

from msgspec import Struct

from benchflow.procedure.model.model_basics import Caution, Mark, Ref, Settings, Values
from benchflow.procedure.model.tighten_stages import Tighten, stage_remedies
from benchflow.procedure.model.value_model import (
    CalculatedValue,
    PartChoice,
    PartMatching,
    RecordedValue,
    Remedy,
)
from benchflow.quantity import Quantity


class Hold(Struct, frozen=True):
    """A signature without which an operation is not finished. ``by`` is the role that signs, ``for_`` its text.

    With ``second_person`` the signer must be somebody who entered nothing in the operation. ``waive`` is as in
    :class:`Operation`.
    """

    by: str
    for_: str
    mark: Mark = Mark()
    second_person: bool = False
    waive: str = ""

    @property
    def signer(self) -> str:
        """Who signs, in words: the role, and that it is a second person."""
        return f"{self.by} (a second person, who entered nothing in it)" if self.second_person else self.by


class CheckPoint(Struct, frozen=True):
    """A point to see or feel, which the builder ticks. ``id`` is its name, "" if it has none.

    ``waive`` and ``proves`` are as in :class:`benchflow.procedure.model.RecordedValue`. ``if_not`` are the remedies for
    the answer no.
    """

    text: str
    id: str = ""
    waive: str = ""
    proves: tuple[Ref, ...] = ()
    mark: Mark = Mark()
    if_not: tuple[Remedy, ...] = ()


class TimeSince(Struct, frozen=True):
    """Limits on the time since ``operation`` was last finished: no start before ``low``, no finish after ``high``.

    With ``from_`` the time counts from the last entry of that value or check of ``operation``. With ``until`` the upper
    end is judged when that value or check of this operation is entered. ``waive`` and ``proves`` are as in
    :class:`benchflow.procedure.model.RecordedValue`. ``low_open`` and ``high_open`` exclude the end (``above 2 h``).
    The lower end counts only while the state is ``while_``, from when that was last entered.
    """

    operation: Ref
    low: Quantity | None
    high: Quantity | None
    text: str
    from_: Ref | None = None
    until: Ref | None = None
    waive: str = ""
    proves: tuple[Ref, ...] = ()
    low_open: bool = False
    high_open: bool = False
    while_: Values = {}
    asked: Mark | None = None  # where the time is asked for; it is still to be filled in
    source: str = ""  # as written, or of a time that was filled in at the bench


class Undo(Struct, frozen=True):
    """The instructions to undo an operation. ``sets`` holds the values that differ afterwards, ``None`` for a value
    that is not known then."""

    do: str
    needs: Values = {}
    discard: tuple[Ref, ...] = ()
    sets: dict[str, str | None] = {}
    mark: Mark = Mark()


class Operation(Struct, frozen=True):
    """An operation as the author wrote it.

    ``waive`` says who can sign a deviation about anything in it that has no ``waive`` of its own: ``anyone``, a role or
    ``never``. "" means that the procedure's ``waive`` applies.

    ``each`` is the set of places at which it is repeated. In a repeated section that is the section's set, or the pair
    of sets ``"cap, side"``, whose places ``"4, left"`` are in ``Procedure.places``. ``section_each`` is the section's
    set. ``in_order`` means that the places are done one after another.

    ``when`` has the options that it depends on, ``findings`` the values, checks and choices. ``if_needed`` means that
    it is done only when a remedy calls for it.

    Where something in it is written with `{by: ...}`, ``variants`` has the operation for each combination of choices,
    and the operation itself is the first of them. :func:`benchflow.procedure.variants.variant_for` picks one.
    """

    id: str
    title: str
    section: str  # the section's id
    number: int  # position in the file, from 1
    do: str = ""
    because: str = ""  # why it is done at this point
    cautions: tuple[Caution, ...] = ()
    when: Values = {}
    each: str | None = None
    after: tuple[Ref, ...] = ()
    needs: Values = {}
    during: Settings = {}
    sets: Settings = {}
    time: tuple[TimeSince, ...] = ()
    takes: Quantity | None = None
    uses: tuple[Ref, ...] = ()
    record: tuple[RecordedValue, ...] = ()
    work_out: tuple[CalculatedValue, ...] = ()
    choose: tuple[PartChoice, ...] = ()
    match: tuple[PartMatching, ...] = ()
    tighten: Tighten | None = None
    check: tuple[CheckPoint, ...] = ()
    hold: Hold | None = None
    guards_against: tuple[Ref, ...] = ()
    undo: Undo | None = None
    restored_by: Ref | None = None  # `temporary: {restored-by: ...}`
    mark: Mark = Mark()
    waive: str = ""
    section_each: str | None = None
    in_order: bool = False
    findings: Values = {}
    finding_marks: dict[str, Mark] = {}
    if_needed: bool = False
    restarts: tuple[Ref, ...] = ()  # the operations whose clocks it starts again
    takes_apart: tuple[Ref, ...] = ()
    again: Ref | None = None  # the operation that it does once more
    elsewhere: str = ""  # who does it, if it is done outside the shop
    variants: "tuple[OperationVariant, ...]" = ()  # in a plan always ()


class OperationVariant(Struct, frozen=True):
    """An operation for one combination of choices: of options, and of the place, by the name of its set."""

    choices: dict[str, str]
    operation: Operation


def values_of(operation: Operation) -> tuple[RecordedValue | CalculatedValue, ...]:
    """The values of an operation: recorded ones, then calculated ones."""
    return (*operation.record, *operation.work_out)


def remedies_of(operation: Operation) -> Iterator[Remedy]:
    """Every remedy of an operation: of its values, its stages and its checks."""
    for value in values_of(operation):
        for one in value.by_limit if isinstance(value, RecordedValue) else (value,):
            yield from (*one.below, *one.above)
    for stage in () if operation.tighten is None else operation.tighten.stages:
        for _, remedies in stage_remedies(stage):
            yield from remedies
    for point in operation.check:
        yield from point.if_not


def parts_of(operation: Operation) -> tuple[PartChoice | PartMatching, ...]:
    """The parts that an operation chooses: from tables (``choose``), then by matching (``match``)."""
    return (*operation.choose, *operation.match)


class Section(Struct, frozen=True):
    """A section with the ids of its operations.

    ``each`` is the set of places at which the whole section is repeated. ``order`` is the order of these places, ``()``
    for any. ``one_by_one`` means that the section is finished at one place before it begins at the next.
    """

    id: str
    title: str
    operations: tuple[str, ...]
    mark: Mark = Mark()
    each: str | None = None
    order: tuple[str, ...] = ()
    one_by_one: bool = False


class FollowUp(Struct, frozen=True):
    """Work that remains after the build. ``due`` is the time from the end of the job."""

    title: str
    due: Quantity | None = None
    or_: str = ""
    mark: Mark = Mark()
