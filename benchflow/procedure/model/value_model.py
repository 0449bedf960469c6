"""Values that are recorded or calculated, their limits and remedies, and the parts chosen by them."""

from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.model.model_basics import Mark, Ref, Values
from benchflow.quantity import Limit, Quantity


class AboveReading(Struct, frozen=True, tag="above-reading"):
    """A limit relative to an earlier value: ``above start-torque by 0.35 .. 0.45 N·m``."""

    name: str
    by: Limit
    text: str


class GivenFrom(Struct, frozen=True):
    """The source of a figure that was filled in at the bench, and the place in the file that asks for it."""

    source: str
    mark: Mark


class EqualWithin(Struct, frozen=True, tag="equal-within"):
    """A limit on the difference between the readings of a value: ``equal within 0.010 in``.

    ``limit`` is the limit for their difference. It has both columns if the text is printed in two units.
    """

    spread: Quantity
    text: str
    limit: Limit
    given: GivenFrom | None = None


class Fixed(Struct, frozen=True, tag="fixed"):
    """A limit given by numbers. ``given`` is set if it is not in the file, but was filled in at the bench."""

    limit: Limit
    given: GivenFrom | None = None

    @property
    def text(self) -> str:
        return self.limit.text


class AskedLimit(Struct, frozen=True, tag="asked"):
    """A limit that is still to be filled in (``limit: ask``). Nothing is within it. ``mark`` is where it is written."""

    mark: Mark

    @property
    def text(self) -> str:
        return "to be filled in"


Bound = Fixed | AboveReading | EqualWithin | AskedLimit

Judge = Literal["all", "mean", "largest", "smallest", "spread"]
DecisionRule = Literal["simple", "guarded"]
Preference = Literal["thickest", "thinnest", "nearest"]


class Remedy(Struct, frozen=True):
    """A remedy for a value that is out of its limit. It is tried ``tries`` times before the next remedy.

    ``redo`` names the operations to do again. If it names the operation of the value, all its entries become void.
    ``fresh`` means that a new part is fitted: all tries of the value are counted from zero again. ``wait`` is the time
    before what it was carried out for counts again. ``uses`` are the parts that it fits. In a plan, ``at_reading`` has
    those of ``redo`` that are meant only at the place of the reading that was out.
    """

    do: str
    redo: tuple[Ref, ...] = ()
    tries: int = 1
    stop: bool = False
    fresh: bool = False
    mark: Mark = Mark()
    at_reading: tuple[str, ...] = ()
    wait: Quantity | None = None
    uses: tuple[Ref, ...] = ()
    restarts: tuple[Ref, ...] = ()  # the operations whose clocks it starts again


class ReadingTerms(Struct, frozen=True):
    """What varies from reading to reading of one value: both limits, and the instrument."""

    bound: Bound | None = None
    used: Bound | None = None
    instrument: str | None = None
    with_more: tuple[str, ...] = ()


class FurtherLimit(Struct, frozen=True):
    """Another limit on the readings of a value, with its own remedies. ``judge`` is the figure that it is about."""

    bound: Bound
    judge: Judge = "all"
    title: str = ""
    below: tuple[Remedy, ...] = ()
    above: tuple[Remedy, ...] = ()
    mark: Mark = Mark()
    source: str = ""  # as written; "" if the author wrote none

    @property
    def label(self) -> str:
        """The title, or what is compared: ``Taper``, ``spread``, ``each reading``."""
        figure = "spread" if isinstance(self.bound, EqualWithin) else self.judge
        return self.title or ("each reading" if figure == "all" else figure)


class RecordedValue(Struct, frozen=True):
    """A value to be measured and recorded.

    ``by_reading`` has the terms of each reading if they are written with `{by: ...}`, named after the readings' set.
    Then ``bound``, ``used`` and ``instrument`` are those of the first reading; :meth:`at` gives those of any.

    ``slots`` names its readings: ``("1",)`` for one, ``("1", "2", "3")`` for ``readings: 3``, or the author's places
    (``by_place``). ``readings_set`` is the set of places that they are named after, if they are.

    ``used_when`` has the choices of options that say whether the part is used. In a plan ``used_by_option`` is the
    answer, and ``bound`` is the limit in force; it is ``None`` if the builder says it.

    ``waive`` says who can sign a deviation about it: ``anyone``, a role or ``never``. "" means that the ``waive`` of
    the operation applies. ``proves`` are the state variables that are not known if it is waived. ``also`` are further
    limits on the same readings.
    """

    name: str
    ask: str
    unit: str  # canonical symbol; "" for a bare count
    dimension: str  # as benchflow.quantity names it; "" for a bare count
    bound: Bound | None = None
    used: Bound | None = None
    instrument: str | None = None  # the author's key is `with`
    slots: tuple[str, ...] = ("1",)
    by_place: bool = False
    readings_set: str | None = None
    used_when: Values = {}
    used_by_option: bool | None = None
    judge: Judge = "all"
    decision: DecisionRule = "simple"
    below: tuple[Remedy, ...] = ()
    above: tuple[Remedy, ...] = ()
    mark: Mark = Mark()
    waive: str = ""
    proves: tuple[Ref, ...] = ()
    independent: bool = False  # the readings by one instrument have independent errors
    comparison: bool = False  # the error of one instrument cancels in a difference
    by_reading: dict[str, ReadingTerms] = {}
    also: tuple[FurtherLimit, ...] = ()
    with_more: tuple[str, ...] = ()  # the instruments that are used together with the first one
    handover: str = ""  # its name on the customer's copy of the build sheet; "" if it is not a key reading
    source: str = ""  # of its limits, as written; "" if the author wrote none
    handover_mark: Mark = Mark()

    @property
    def instruments(self) -> tuple[str, ...]:
        """The instruments that one reading is taken with, in the order of `with`."""
        return () if self.instrument is None else (self.instrument, *self.with_more)

    def at(self, slot: str) -> "RecordedValue":
        """The value with the limits and the instrument of one reading."""
        terms = self.by_reading.get(slot)
        if terms is None:
            return self
        return replace(
            self,
            bound=terms.bound,
            used=terms.used,
            instrument=terms.instrument,
            with_more=terms.with_more,
            by_reading={},
        )

    @property
    def by_limit(self) -> "tuple[RecordedValue, ...]":
        """The value once for each of its limits: first with its own, then with each further one instead of it."""
        return (self, *(self._with_further(limit) for limit in self.also))

    def _with_further(self, limit: FurtherLimit) -> "RecordedValue":
        return replace(
            self,
            bound=limit.bound,
            used=None,
            used_when={},
            used_by_option=None,
            judge=limit.judge,
            below=limit.below,
            above=limit.above,
            also=(),
            by_reading={},
        )


class CalculatedValue(Struct, frozen=True):
    """A value calculated from others. ``formula`` is the author's text; its units are already checked.

    ``by_reading`` is as in :class:`RecordedValue`, for a value that is calculated reading by reading; ``limit_set`` is
    the set that `by` names there.

    ``waive`` and ``proves`` are as in :class:`RecordedValue`. ``stage`` is the stage, from 1, whose torque it is; 0 for
    any other value.
    """

    name: str
    formula: str
    unit: str
    dimension: str
    bound: Bound | None = None
    decision: DecisionRule = "simple"
    below: tuple[Remedy, ...] = ()
    above: tuple[Remedy, ...] = ()
    title: str = ""
    mark: Mark = Mark()
    waive: str = ""
    proves: tuple[Ref, ...] = ()
    independent: bool = False  # the readings by one instrument have independent errors
    comparison: bool = False  # the error of one instrument cancels in a difference
    by_reading: dict[str, ReadingTerms] = {}
    limit_set: str | None = None
    stage: int = 0
    handover: str = ""  # as in RecordedValue
    source: str = ""  # as in RecordedValue
    handover_mark: Mark = Mark()

    def at(self, slot: str) -> "CalculatedValue":
        """The value with the limit of the result for one reading."""
        terms = self.by_reading.get(slot)
        return self if terms is None else replace(self, bound=terms.bound, by_reading={}, limit_set=None)


def bounds_of(value: RecordedValue | CalculatedValue) -> tuple[Bound, ...]:
    """The limits of a value, for new and for used parts and of each reading, each once."""
    found: list[Bound | None] = [value.bound, value.used if isinstance(value, RecordedValue) else None]
    found += [bound for terms in value.by_reading.values() for bound in (terms.bound, terms.used)]
    kept: list[Bound] = []
    for bound in found:
        if bound is not None and bound not in kept:
            kept.append(bound)
    return tuple(kept)


def written_limit(value: RecordedValue | CalculatedValue) -> str:
    """The limit as written; by reading if it varies: ``1: 10 .. 11 mm; 2, 3: 20 .. 21 mm``. "" without a limit."""
    slots: dict[str, list[str]] = {}
    for slot, terms in value.by_reading.items():
        slots.setdefault("no limit" if terms.bound is None else terms.bound.text, []).append(slot)
    if slots:
        return "; ".join(f"{', '.join(names)}: {text}" for text, names in slots.items())
    return "" if value.bound is None else value.bound.text


def instruments_of(record: RecordedValue) -> tuple[str, ...]:
    """The instruments of a value, also those of single readings, each once."""
    each = (record, *(record.at(slot) for slot in record.by_reading))
    return tuple(dict.fromkeys(name for one in each for name in one.instruments))


class ChoiceRow(Struct, frozen=True):
    """One row of a selection table: the values from ``low`` to ``high``. An end of ``None`` is open to that side.

    An end belongs to the row unless it is ``low_open`` or ``high_open``. A row without a written lower end begins where
    the row before it ends. ``text`` is the range as written. A row with ``stop`` has no part to ``take``: the work
    stops with that text. ``second`` has the ends in the second column of a table that is printed in two units.
    """

    text: str
    take: str
    low: Quantity | None = None
    high: Quantity | None = None
    low_open: bool = False
    high_open: bool = False
    stop: str = ""
    second: Limit | None = None

    @property
    def limit(self) -> Limit:
        """The range as a limit: a value within either column is in the row."""
        return Limit(self.low, self.high, self.text, self.low_open, self.high_open, self.second)


class PartChoice(Struct, frozen=True):
    """The choice of a part by a value, from a table. A value outside all rows has no part."""

    name: str
    by: str
    rows: tuple[ChoiceRow, ...]
    title: str = ""
    mark: Mark = Mark()
    source: str = ""  # of the table, as written

    @property
    def takes(self) -> tuple[str, ...]:
        """The parts of the table, each once, in the order of its rows."""
        return tuple(dict.fromkeys(row.take for row in self.rows if not row.stop))


class StockSizes(Struct, frozen=True):
    """The sizes that can be bought: from ``first`` to ``last`` in steps of ``step``. ``text`` is the author's."""

    first: Quantity
    last: Quantity
    step: Quantity
    text: str


class PartMatching(Struct, frozen=True):
    """The assignment of a measured set of parts to a set of places.

    ``measured`` names the kit item or recorded value with the parts on hand. ``to`` names the places, as under
    `places`. ``so_that`` names the calculated value. It has to be within ``limit`` and as close as possible to ``aim``.
    ``prefer`` says which of the parts that fit is to be chosen.
    """

    name: str
    measured: str
    to: str
    so_that: str
    limit: Limit
    aim: Quantity | None = None
    title: str = ""
    sizes: StockSizes | None = None
    mark: Mark = Mark()
    prefer: Preference | None = None
    source: str = ""  # of the limit, as written
