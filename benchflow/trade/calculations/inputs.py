"""The input fields of a calculation, and the parsing of inputs from text."""

from collections.abc import Callable, Mapping

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.procedure.problems import hint_for
from benchflow.quantity import Limit, Quantity, QuantityError, parse_limit, parse_quantity, unit_symbol
from benchflow.trade.calculations.result import CalculationError, CalculationResult, GivenInput
from benchflow.trade.calculations.thread_series import special_hint, thread_problem
from benchflow.trade.calculations.threads import Thread, ThreadError, parse_thread

# --- kinds of input ---------------------------------------------------------------------------------


class QuantityInput(Struct, frozen=True, tag="quantity"):
    """A quantity. ``dimension`` is such as ``length``; "" means a plain number, ``None`` any dimension.

    ``unit`` is the unit that a screen shows beside the field.
    """

    dimension: str | None
    unit: str = ""


class RangeInput(Struct, frozen=True, tag="range"):
    """A quantity or a range of two ends, such as ``50 .. 70 in-lb``. The fields are those of :class:`QuantityInput`."""

    dimension: str
    unit: str


class LimitInput(Struct, frozen=True, tag="limit"):
    """A limit, such as ``0.10 .. 0.28 mm``. ``nominal`` permits one quantity, such as ``0.15 mm``."""

    nominal: bool = False


class ThreadInput(Struct, frozen=True, tag="thread"):
    """A thread designation, such as ``M10x1.25``."""


class UnitInput(Struct, frozen=True, tag="unit"):
    """A unit of this dimension, for the result."""

    dimension: str


class TextInput(Struct, frozen=True, tag="text"):
    """Free text, such as a property class."""


class WordInput(Struct, frozen=True, tag="choice"):
    """One of the texts in ``choices``."""

    choices: tuple[str, ...]


InputKind = QuantityInput | RangeInput | LimitInput | ThreadInput | UnitInput | TextInput | WordInput


class InputField(Struct, frozen=True):
    """One input of a calculation. ``ask`` is its label on a screen.

    ``in_example`` puts an optional input into the example of the command, because one of several inputs is required.
    ``instead_of`` names another input that this one replaces: only one of the two can be given.
    """

    name: str
    ask: str
    kind: InputKind
    example: str = ""
    optional: bool = False
    in_example: bool = False
    instead_of: str = ""


def length_field(name: str, ask: str, example: str, *, optional: bool = False) -> InputField:
    """Return a field for a length. A screen shows mm beside it."""
    return InputField(name, ask, QuantityInput("length", "mm"), example, optional)


def expansion_field(name: str, ask: str, example: str = "23 ppm/K") -> InputField:
    """Return a field for a coefficient of thermal expansion. A screen shows ppm/K beside it."""
    return InputField(name, ask, QuantityInput("expansion", "ppm/K"), example)


def temperature_field(name: str, ask: str, example: str) -> InputField:
    """Return a field for a temperature. A screen shows °C beside it."""
    return InputField(name, ask, QuantityInput("temperature", "°C"), example)


def angle_field(name: str, ask: str, example: str, *, optional: bool = False) -> InputField:
    """Return a field for an angle. A screen shows ° beside it."""
    return InputField(name, ask, QuantityInput("angle", "°"), example, optional)


def torque_field(name: str, ask: str, example: str) -> InputField:
    """Return a field for a torque. A screen shows N·m beside it."""
    return InputField(name, ask, QuantityInput("torque", "N·m"), example)


def torque_range_field(name: str, ask: str, example: str) -> InputField:
    """Return a field for a torque or a range of torques. A screen shows N·m beside it."""
    return InputField(name, ask, RangeInput("torque", "N·m"), example)


def number_field(name: str, ask: str, example: str, *, optional: bool = False) -> InputField:
    """Return a field for a plain number."""
    return InputField(name, ask, QuantityInput(""), example, optional)


THREAD_FIELD = InputField("thread", "Thread", ThreadInput(), "M10x1.25")
FORCE_UNIT_FIELD = InputField("unit", "Unit of the result", UnitInput("force"), "kN", optional=True)
TORQUE_UNIT_FIELD = InputField("unit", "Unit of the result", UnitInput("torque"), "N·m", optional=True)

# --- values of the inputs ---------------------------------------------------------------------------

InputValue = Quantity | Limit | Thread | str


class Inputs:
    """The values of the inputs by field name. A value of the wrong kind is a programming error (``TypeError``)."""

    def __init__(self, values: Mapping[str, InputValue]) -> None:
        self._values = values

    def quantity(self, name: str) -> Quantity:
        """Return a required quantity."""
        value = self.optional_quantity(name)
        if value is None:
            raise TypeError(f"the quantity {name} is missing")
        return value

    def quantities(self, *names: str) -> tuple[Quantity, ...]:
        """Return required quantities in the order of ``names``."""
        return tuple(self.quantity(name) for name in names)

    def optional_quantity(self, name: str) -> Quantity | None:
        """Return a quantity, ``None`` if it was left out."""
        value = self._values.get(name)
        if value is not None and not isinstance(value, Quantity):
            raise TypeError(f"{name} is not a quantity")
        return value

    def range(self, name: str) -> tuple[Quantity, Quantity | None]:
        """Return a required quantity and ``None``, or the two ends of a range."""
        value = self._values.get(name)
        if isinstance(value, Limit) and value.low is not None and value.high is not None:
            return value.low, value.high
        return self.quantity(name), None

    def limit(self, name: str) -> Limit:
        """Return a required limit."""
        value = self.optional_limit(name)
        if value is None:
            raise TypeError(f"the limit {name} is missing")
        return value

    def optional_limit(self, name: str) -> Limit | None:
        """Return a limit, ``None`` if it was left out."""
        value = self._values.get(name)
        if value is not None and not isinstance(value, Limit):
            raise TypeError(f"{name} is not a limit")
        return value

    def thread(self) -> Thread:
        """Return the thread of a calculation that requires one."""
        value = self._values.get("thread")
        if not isinstance(value, Thread):
            raise TypeError("the thread is missing")
        return value

    def text(self, name: str, default: str = "") -> str:
        """Return a text, choice or unit, ``default`` if it was left out."""
        value = self._values.get(name, default)
        if not isinstance(value, str):
            raise TypeError(f"{name} is not a text")
        return value


# --- calculations -----------------------------------------------------------------------------------


class Calculation(Struct, frozen=True):
    """A calculation that a command or a screen offers by name.

    ``run`` gets values of the right kind for all required fields. It raises :class:`CalculationError` if the values
    contradict each other. ``source`` is the source of the formula.
    """

    name: str
    title: str
    fields: tuple[InputField, ...]
    run: Callable[[Inputs], CalculationResult]
    source: str


def example_inputs(calculation: Calculation) -> dict[str, str]:
    """Return inputs that give a result, by field name: the examples of the required fields and of those with
    ``in_example``."""
    return {field.name: field.example for field in calculation.fields if field.in_example or not field.optional}


class CalculationErrors(BenchflowError):
    """All errors in the inputs of one calculation."""

    def __init__(self, errors: tuple[CalculationError, ...]) -> None:
        super().__init__("\n".join(f"{error.field}: {error}" if error.field else str(error) for error in errors))
        self.errors = errors


def run_calculation(
    calculation: Calculation, texts: Mapping[str, str], *, use_field_units: bool = False
) -> CalculationResult:
    """Run ``calculation`` with ``texts`` by field name.

    With ``use_field_units``, a number without a unit has the unit of the field. This is for screens, which show that
    unit beside the field. A command does not, so it requires a unit.

    Raises:
        CalculationErrors: a text cannot be read, a required field is missing, or the values contradict each other.
    """
    known = {field.name: field for field in calculation.fields}
    errors = [
        CalculationError(name, f"{calculation.name} has no input of this name", hint_for(name, known))
        for name in texts
        if name not in known
    ]
    values: dict[str, InputValue] = {}
    for field in calculation.fields:
        text = texts.get(field.name, "").strip()
        if not text:
            if not field.optional:
                errors.append(CalculationError(field.name, "This input is missing", f"Write it like {field.example}."))
            continue
        try:
            values[field.name] = _read(field, text, use_field_units)
        except (QuantityError, ThreadError) as error:
            errors.append(CalculationError(field.name, str(error)))
        except CalculationError as error:
            errors.append(error)
        if field.instead_of and texts.get(field.instead_of, "").strip():
            other = known[field.instead_of].ask
            errors.append(CalculationError(field.name, f"This replaces “{other}”", "Enter only one of the two."))
    if errors:
        raise CalculationErrors(tuple(errors))
    try:
        result = calculation.run(Inputs(values))
    except CalculationError as error:
        raise CalculationErrors((error,)) from error
    given = tuple(
        GivenInput(field.name, field.ask, texts[field.name].strip())
        for field in calculation.fields
        if field.name in values
    )
    return replace(result, given=given)


def _read(field: InputField, text: str, use_field_units: bool) -> InputValue:
    match field.kind:
        case QuantityInput(dimension=dimension, unit=unit):
            default = unit if use_field_units or dimension == "" else None
            return parse_quantity(text, unit=default, dimension=dimension)
        case RangeInput(dimension=dimension, unit=unit):
            return _range(field, text, unit if use_field_units else None, dimension)
        case LimitInput(nominal=nominal):
            return parse_limit(text, nominal=nominal)
        case ThreadInput():
            return _thread(field.name, text)
        case UnitInput(dimension=dimension):
            return _unit(text, dimension)
        case WordInput(choices=choices):
            if text not in choices:
                raise CalculationError(field.name, f"“{text}” is not one of {', '.join(choices)}")
            return text
        case TextInput():
            return text


def _range(field: InputField, text: str, unit: str | None, dimension: str) -> Quantity | Limit:
    try:
        return parse_quantity(text, unit=unit, dimension=dimension)
    except QuantityError as error:
        try:
            limit = parse_limit(text, unit=unit, dimension=dimension, nominal=False)
        except QuantityError as range_error:
            raise (range_error if ".." in text else error) from None
    if limit.low is None or limit.high is None:
        raise CalculationError(field.name, "A range needs both ends", f"Write {field.example}, or like 50 .. 70 in-lb.")
    return limit


def _thread(name: str, text: str) -> Thread:
    thread = parse_thread(text)
    problem = thread_problem(thread)
    if problem:
        raise CalculationError(name, problem, special_hint(thread))
    return thread


def _unit(text: str, dimension: str) -> str:
    symbol = unit_symbol(text)
    # Parse the unit as a quantity of 1, so that its error messages are those of a quantity.
    return parse_quantity(f"1 {text}", dimension=dimension).unit if symbol else symbol
