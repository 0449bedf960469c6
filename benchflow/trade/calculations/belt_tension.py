"""Belt tension from the frequency of a plucked span, T = 4 m L² f², and back."""

from fractions import Fraction
from math import sqrt

from benchflow.procedure.model import Caution
from benchflow.quantity import Limit, Quantity, base, dimension_of, position, show
from benchflow.quantity.arithmetic import decimal
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import (
    FORCE_UNIT_FIELD,
    Calculation,
    InputField,
    Inputs,
    LimitInput,
    QuantityInput,
    length_field,
)
from benchflow.trade.calculations.result import (
    CalculationError,
    CalculationResult,
    decimals_that_tell,
    limit_ends,
    line,
    rounded_text,
)
from benchflow.trade.rounding import in_unit

SOURCE = "vibrating string, first mode: T = 4 × m × L² × f²"
_STOPPED = (Caution("warning", "Measure with the engine stopped and locked against starting."),)
_NOTES = (
    "Assumed: the belt bends like a string, and the reading is of the first mode. A stiff belt on a short span reads "
    "too high.",
    "The span is the free length between the points where the belt touches the pulleys. Pluck in its middle.",
    "Turn the engine two turns and measure again at the temperature that the maker names.",
)


def _mass_per_length(mass: Quantity, length: Quantity, span: Quantity) -> Fraction:
    """Return the mass of the belt per length in kg/m.

    Raises:
        CalculationError: an input is outside its range, or mass and length do not fit together.
    """
    require_within("mass", mass, "The mass of the belt", "1 g", "50 kg")
    require_within("length", length, "The length of the belt", "100 mm", "30 m", "Enter the length that was weighed.")
    require_within("span", span, "The free span", "20 mm", "10 m")
    per_length = base(mass) / base(length)
    if not Fraction(5, 1000) <= per_length <= 5:
        raise CalculationError(
            "mass", f"{show(mass)} in {show(length)} are {rounded_text(per_length * 1000, 'g')} a metre, which no belt "
            "has",
            "Usual values are 50 to 500 g a metre. Check both units.",
        )  # fmt: skip
    return per_length


def _cautions(length: Quantity, span: Quantity) -> tuple[Caution, ...]:
    if base(span) <= base(length):
        return _STOPPED
    text = f"The span of {show(span)} is longer than what was weighed, {show(length)}. Is that a piece of the belt?"
    return (*_STOPPED, Caution("caution", f"{text} If not, check both lengths."))


def belt_tension(
    mass: Quantity, length: Quantity, span: Quantity, frequency: Quantity, limit: Limit | None = None, unit: str = "N"
) -> CalculationResult:
    """Return the tension of a belt in ``unit`` from the frequency of a free span, T = 4 m L² f².

    ``mass`` and ``length`` are those of the belt, or of a piece of it. ``span`` L is the free span. ``limit`` is the
    maker's. Source: vibrating string.

    Raises:
        CalculationError: an input is outside its range, mass and length do not fit together, or the limit is not
            one of forces.
    """
    per_length = _mass_per_length(mass, length, span)
    require_within("frequency", frequency, "The frequency", "5 Hz", "1000 Hz")
    newtons = 4 * per_length * base(span) ** 2 * base(frequency) ** 2
    tension = in_unit(newtons, unit)
    filled = f"4 × {show(mass)} / {show(length)} × ({show(span)})² × ({show(frequency)})²"
    notes: tuple[str, ...] = _NOTES
    if limit is not None:
        for end in (limit.low, limit.high):
            if end is not None and dimension_of(end.unit) != "force":
                raise CalculationError("limit", f"{show(end)} is not a force", "Write it like 400 .. 500 N.")
        verdict = "within" if position(limit, Quantity(decimal(newtons), "N", "")) == "within" else "outside"
        notes = (f"That is {verdict} the limit {limit.text}.", *_NOTES)
    places = decimals_that_tell(tension.value, 2 - tension.value.adjusted(), *limit_ends(limit, unit))
    first = line("tension", "Tension in the span", tension.value, unit, "T = 4 × m / length × L² × f²", filled,
                 decimals=places)  # fmt: skip
    return CalculationResult("Belt tension by frequency", (first,), SOURCE, notes, cautions=_cautions(length, span))


def belt_frequency(mass: Quantity, length: Quantity, span: Quantity, tension: Quantity) -> CalculationResult:
    """Return the frequency of a free span in Hz for a tension, f = √(T / m) / (2 L).

    The other arguments and the source are those of :func:`belt_tension`.

    Raises:
        CalculationError: an input is outside its range, or mass and length do not fit together.
    """
    per_length = _mass_per_length(mass, length, span)
    require_within("tension", tension, "The tension", "5 N", "50 kN")
    hertz = sqrt(float(base(tension) / per_length)) / (2 * float(base(span)))
    first = line("frequency", "Frequency of the span", hertz, "Hz", "f = √(T × length / m) / (2 × L)",
                 f"√({show(tension)} × {show(length)} / {show(mass)}) / (2 × {show(span)})")  # fmt: skip
    return CalculationResult("Belt frequency for a tension", (first,), SOURCE, _NOTES, cautions=_cautions(length, span))


_BELT_FIELDS = (
    InputField("mass", "Mass of the belt, or of a piece of it", QuantityInput("mass", "g"), "96 g"),
    length_field("length", "Length of what was weighed", "868 mm"),
    length_field("span", "Free span that is plucked", "170 mm"),
)


def _belt_tension(inputs: Inputs) -> CalculationResult:
    mass, length, span, frequency = inputs.quantities("mass", "length", "span", "frequency")
    return belt_tension(mass, length, span, frequency, inputs.optional_limit("limit"), inputs.text("unit", "N"))


BELT_CALCULATIONS = (
    Calculation(
        "belt-tension", "Belt tension by frequency",
        (
            *_BELT_FIELDS, InputField("frequency", "Frequency of the span", QuantityInput("frequency", "Hz"), "220 Hz"),
            InputField("limit", "Maker's limit of the tension", LimitInput(), "550 .. 650 N", optional=True),
            FORCE_UNIT_FIELD,
        ),
        _belt_tension, SOURCE,
    ),
    Calculation(
        "belt-frequency", "Belt frequency for a tension",
        (*_BELT_FIELDS, InputField("tension", "Tension wanted", QuantityInput("force", "N"), "620 N")),
        lambda inputs: belt_frequency(*inputs.quantities("mass", "length", "span", "tension")),
        SOURCE,
    ),
)  # fmt: skip
