"""What a sum asks for, and the answers to it: from texts to checked quantities, everything wrong at once."""

from collections.abc import Callable, Mapping
from fractions import Fraction

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.procedure.problems import hint_for
from benchflow.quantity import Limit, Quantity, QuantityError, parse_limit, parse_quantity, unit_symbol
from benchflow.trade.threads import Thread, ThreadError, parse_thread
from benchflow.trade.worked import Given, SumError, Worked


class Measure(Struct, frozen=True, tag="measure"):
    """A quantity of one dimension as benchflow.quantity names it ("" for a bare number), or of any (``None``).
    ``unit`` is the field's own, which a screen shows beside it."""

    dimension: str | None
    unit: str = ""


class LimitText(Struct, frozen=True, tag="limit"):
    """A limit, as a procedure writes one."""


class ThreadName(Struct, frozen=True, tag="thread"):
    """A thread's name."""


class UnitName(Struct, frozen=True, tag="unit"):
    """A unit of one of these dimensions, for the answer."""

    dimension: str


class Words(Struct, frozen=True, tag="words"):
    """A few words, such as a property class."""


class OneOf(Struct, frozen=True, tag="one-of"):
    """One of these words."""

    choices: tuple[str, ...]


Takes = Measure | LimitText | ThreadName | UnitName | Words | OneOf


class Field(Struct, frozen=True):
    """One thing to ask for."""

    name: str
    ask: str
    takes: Takes
    example: str = ""
    optional: bool = False


Answer = Quantity | Limit | Thread | str


class Answers:
    """Checked answers by field name. Asking for one as the wrong kind is a mistake of ours: ``TypeError``."""

    def __init__(self, found: Mapping[str, Answer]) -> None:
        self._found = found

    def quantity(self, name: str) -> Quantity:
        found = self.maybe(name)
        if found is None:
            raise TypeError(f"no quantity {name}")
        return found

    def quantities(self, *names: str) -> tuple[Quantity, ...]:
        return tuple(self.quantity(name) for name in names)

    def maybe(self, name: str) -> Quantity | None:
        """An optional quantity."""
        found = self._found.get(name)
        if found is not None and not isinstance(found, Quantity):
            raise TypeError(f"{name} is no quantity")
        return found

    def number(self, name: str) -> Fraction:
        return Fraction(self.quantity(name).value)

    def limit(self, name: str) -> Limit:
        found = self._found.get(name)
        if not isinstance(found, Limit):
            raise TypeError(f"{name} is no limit")
        return found

    def thread(self) -> Thread:
        found = self._found.get("thread")
        if not isinstance(found, Thread):
            raise TypeError("no thread")
        return found

    def text(self, name: str, otherwise: str = "") -> str:
        """A text, choice or unit; ``otherwise`` where it was left out."""
        found = self._found.get(name, otherwise)
        if not isinstance(found, str):
            raise TypeError(f"{name} is no text")
        return found


class SumSpec(Struct, frozen=True):
    """A sum that can be asked for by name, from a command or from a screen alike.

    ``run`` gets answers whose required fields are all there, each of its kind; it raises :class:`SumError`
    where the numbers make no sense together.
    """

    name: str
    title: str
    fields: tuple[Field, ...]
    run: Callable[[Answers], Worked]
    source: str


class SumErrors(BenchflowError):
    """Everything that is wrong with the answers to a sum."""

    def __init__(self, errors: tuple[SumError, ...]) -> None:
        super().__init__("\n".join(f"{one.field}: {one}" if one.field else str(one) for one in errors))
        self.errors = errors


def do(spec: SumSpec, texts: Mapping[str, str], *, bare: bool = False) -> Worked:
    """The sum done with ``texts`` by field name. ``bare`` lets a number without a unit take the field's (a screen
    shows it; a command does not). Raises :class:`SumErrors`."""
    known = {field.name: field for field in spec.fields}
    errors = [
        SumError(name, f"{spec.name} asks for nothing called so", hint_for(name, known))
        for name in texts
        if name not in known
    ]
    found: dict[str, Answer] = {}
    for field in spec.fields:
        text = texts.get(field.name, "").strip()
        if not text:
            if not field.optional:
                errors.append(SumError(field.name, "This is missing", f"Write it like {field.example}."))
            continue
        try:
            found[field.name] = _read(field, text, bare)
        except QuantityError as wrong:
            errors.append(SumError(field.name, str(wrong)))
        except ThreadError as wrong:
            errors.append(SumError(field.name, str(wrong)))
        except SumError as wrong:
            errors.append(wrong)
    if errors:
        raise SumErrors(tuple(errors))
    try:
        worked = spec.run(Answers(found))
    except SumError as wrong:
        raise SumErrors((wrong,)) from wrong
    given = tuple(Given(one.name, one.ask, texts[one.name].strip()) for one in spec.fields if one.name in found)
    return replace(worked, given=given)


def _read(field: Field, text: str, bare: bool) -> Answer:
    match field.takes:
        case Measure(dimension=dimension, unit=unit):
            own = unit if bare or dimension == "" else None
            return parse_quantity(text, unit=own, dimension=dimension)
        case LimitText():
            return parse_limit(text)
        case ThreadName():
            return parse_thread(text)
        case UnitName(dimension=dimension):
            return _unit(field, text, dimension)
        case OneOf(choices=choices):
            if text not in choices:
                raise SumError(field.name, f"“{text}” is not one of {', '.join(choices)}")
            return text
        case Words():
            return text


def _unit(field: Field, text: str, dimension: str) -> str:
    symbol = unit_symbol(text)
    # A quantity of the unit is read as one, so that the complaint is the same as everywhere.
    return parse_quantity(f"1 {text}", dimension=dimension).unit if symbol else symbol
