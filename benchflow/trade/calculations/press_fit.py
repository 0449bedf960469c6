"""Press fits: pressure, stress and force from the interference, and the temperature to assemble.

Both parts are elastic thick-walled cylinders of the same length (Lamé). The interference is the difference of the
diameters.
"""

from fractions import Fraction
from math import pi
from typing import NamedTuple

from benchflow.procedure.model import Caution
from benchflow.quantity import Quantity, base, parse_quantity, show
from benchflow.trade.calculations.input_checks import expansion_coefficient, require_within
from benchflow.trade.calculations.inputs import (
    Calculation,
    InputField,
    Inputs,
    QuantityInput,
    length_field,
    number_field,
)
from benchflow.trade.calculations.result import CalculationError, CalculationResult, ResultLine, line
from benchflow.trade.rounding import amount, in_unit

LAME = "Lamé, thick-walled cylinders"
STEEL_MODULUS = parse_quantity("205000 MPa")
STEEL_POISSON = 0.3
"""Values of steel, for a part without values of its own (common practice, no source)."""


class Elastic(NamedTuple):
    """Young's modulus and Poisson's ratio of one part. ``None`` means steel."""

    modulus: Quantity | None = None
    poisson: Quantity | None = None

    def values(self, part: str) -> tuple[float, float]:
        """Return the modulus in MPa and Poisson's ratio. ``part`` is ``hub`` or ``shaft``.

        Raises:
            CalculationError: a value is outside its range.
        """
        modulus, poisson = self.modulus or STEEL_MODULUS, STEEL_POISSON
        require_within(f"{part}-modulus", modulus, "Young's modulus", "1000 MPa", "700000 MPa",
                       "Steel has about 205000 MPa, aluminium 70000 MPa, cast iron 110000 MPa.")  # fmt: skip
        if self.poisson is not None:
            require_within(f"{part}-poisson", self.poisson, "Poisson's ratio", "0", "0.5", "Metals have 0.2 to 0.35.")
            poisson = float(self.poisson.value)
        return float(amount(modulus, "MPa")), poisson


class PressFit(NamedTuple):
    """Dimensions of a press fit. ``shaft_hole`` is ``None`` for a solid shaft."""

    diameter: Quantity
    interference: Quantity
    hub_outside: Quantity
    length: Quantity
    shaft_hole: Quantity | None = None


def _check(fit: PressFit) -> None:
    """Raise CalculationError if a dimension is outside its range, or the dimensions contradict each other."""
    _check_interference(fit.diameter, fit.interference)
    require_within("length", fit.length, "The length of the fit", "0.5 mm", "2000 mm")
    if base(fit.hub_outside) <= base(fit.diameter):
        raise CalculationError(
            "hub-outside", f"A hub of {show(fit.hub_outside)} has no wall around {show(fit.diameter)}",
            "Enter the outside diameter of the hub.",
        )  # fmt: skip
    if fit.shaft_hole is not None and not 0 <= base(fit.shaft_hole) < base(fit.diameter):
        raise CalculationError(
            "shaft-hole", f"A hole of {show(fit.shaft_hole)} leaves no wall in a shaft of {show(fit.diameter)}",
            "Enter the inside diameter, or leave it out for a solid shaft.",
        )  # fmt: skip


def _check_interference(diameter: Quantity, interference: Quantity) -> None:
    require_within("diameter", diameter, "The diameter of the fit", "1 mm", "1000 mm")
    share = base(interference) / base(diameter)
    if not 0 < share <= Fraction(5, 1000):
        raise CalculationError(
            "interference", f"An interference of {show(interference)} is not possible at {show(diameter)}",
            "It is the shaft minus the bore, on the diameter. Usual values are 0.0005 to 0.002 of the diameter.",
        )  # fmt: skip


def press_fit(
    fit: PressFit,
    hub: Elastic | None = None,
    shaft: Elastic | None = None,
    friction: Quantity | None = None,
    hub_yield: Quantity | None = None,
) -> CalculationResult:
    """Return the pressure of a press fit and the stresses in MPa, and the force and torque that it holds.

    p = δ / (d × ((Ch + νh) / Eh + (Cs − νs) / Es)), with C = (large² + small²) / (large² − small²) of each part. Force
    and torque need ``friction``. With ``hub_yield``, the yield stress of the hub, the result has the largest elastic
    interference. Source: Lamé; the equivalent stress after Tresca.

    Raises:
        CalculationError: an input is outside its range, or the dimensions contradict each other.
    """
    _check(fit)
    d, outside = float(amount(fit.diameter, "mm")), float(amount(fit.hub_outside, "mm"))
    hole = 0.0 if fit.shaft_hole is None else float(amount(fit.shaft_hole, "mm"))
    (eh, nh), (es, ns) = (hub or Elastic()).values("hub"), (shaft or Elastic()).values("shaft")
    of_hub, of_shaft = (outside**2 + d**2) / (outside**2 - d**2), (d**2 + hole**2) / (d**2 - hole**2)
    pressure = float(amount(fit.interference, "mm")) / (d * ((of_hub + nh) / eh + (of_shaft - ns) / es))
    first = line("pressure", "Pressure in the fit", pressure, "MPa", "p = δ / (d × ((Ch + νh) / Eh + (Cs − νs) / Es))",
                 f"{show(fit.interference)} / ({show(fit.diameter)} × (({of_hub:.3f} + {nh:g}) / {eh:.0f} MPa + "
                 f"({of_shaft:.3f} − {ns:g}) / {es:.0f} MPa))")  # fmt: skip
    inside = pressure * (of_shaft + 1 if hole else 1.0)
    lines = [
        first,
        line("hub-stress", "Tension around the bore of the hub", pressure * of_hub, "MPa", "p × Ch",
             f"{first.shown} × {of_hub:.3f}"),
        line("hub-equivalent", "Equivalent stress of the hub (Tresca)", pressure * (of_hub + 1), "MPa", "p × (Ch + 1)",
             f"{first.shown} × ({of_hub:.3f} + 1)"),
        line("shaft-stress", "Compression of the shaft", inside, "MPa", "p × (Cs + 1)" if hole else "p",
             f"{first.shown} × ({of_shaft:.3f} + 1)" if hole else "p"),
    ]  # fmt: skip
    cautions: list[Caution] = []
    notes = ["Assumed: elastic, both parts as long as the fit and equally thick. Roughness is not counted: it "
             "flattens, and takes from the interference."]  # fmt: skip
    parts = (hub or Elastic(), shaft or Elastic())
    if any(part.modulus is None for part in parts):
        notes.append(f"Assumed: a part without a Young's modulus has {show(STEEL_MODULUS)} (steel).")
    if any(part.poisson is None for part in parts):
        notes.append(f"Assumed: a part without a Poisson's ratio has {STEEL_POISSON}.")
    if friction is not None:
        lines += _held(fit, pressure, d, friction)
        cautions.append(_PRESSED)
    if hub_yield is None:
        notes.insert(0, "Without the yield stress of the hub, nothing compares the stress with it.")
    else:
        require_within("hub-yield", hub_yield, "The yield stress", "20 MPa", "2500 MPa")
        room = float(amount(hub_yield, "MPa")) / (pressure * (of_hub + 1))
        unit = fit.interference.unit
        lines.append(line("largest", "Largest elastic interference", float(fit.interference.value) * room, unit,
                          "δ × yield stress / equivalent stress",
                          f"{show(fit.interference)} × {show(hub_yield)} / {lines[2].shown}"))  # fmt: skip
        if room < 1:
            cautions.append(_YIELDS)
        else:
            notes.insert(0, "The hub stays elastic.")
    return CalculationResult("Press fit", tuple(lines), LAME, tuple(notes), cautions=tuple(cautions))


_PRESSED = Caution(
    "warning", "Parts under a press can burst or fly out. Stand aside, guard the press, wear eye protection."
)
_YIELDS = Caution("caution", "The hub yields. Use less interference, a thicker hub or a stronger material.")


def _held(fit: PressFit, pressure: float, d: float, friction: Quantity) -> list[ResultLine]:
    require_within("friction", friction, "The friction", "0.01", "0.6", "0.05 to 0.15 is usual, 0.12 for dry steel.")
    length = float(amount(fit.length, "mm"))
    force = float(friction.value) * pressure * pi * d * length
    filled = f"{show(friction)} × {pressure:.4g} MPa × π × {show(fit.diameter)} × {show(fit.length)}"
    lines = [line("force", "Force to press or to move it", force / 1000, "kN", "F = µ × p × π × d × l", filled)]
    return [*lines, line("torque", "Torque that it holds", force * d / 2000, "N·m", "T = F × d / 2",
                         f"{lines[0].shown} × {show(fit.diameter)} / 2")]  # fmt: skip


# --- assembly by temperature ------------------------------------------------------------------------

EXPANSION_SOURCE = "linear expansion; gap 0.001 × diameter: common practice, no source"
GAP = Fraction(1, 1000)
"""Gap to slide the parts together, as a share of the diameter (common practice, no source)."""
COLDEST = parse_quantity("-196 °C")
"""Boiling point of nitrogen, the coldest usual bath (from memory)."""


class ColdShaft(NamedTuple):
    """The expansion of the shaft, and its temperature if it is cooled while the hub is heated."""

    coefficient: Quantity
    temperature: Quantity | None = None


def assembly_temperature(
    diameter: Quantity,
    interference: Quantity,
    room: Quantity,
    hub_coefficient: Quantity,
    shaft: ColdShaft | None = None,
    gap: Quantity | None = None,
    highest: Quantity | None = None,
) -> CalculationResult:
    """Return the temperature of the hub at which the shaft slides in, in the unit of ``room``.

    t = room + (δ + gap − contraction of the shaft) / (α × d). With the expansion of the ``shaft`` and no temperature
    for it, the result has the temperature for cooling the shaft alone as well. ``gap`` is the clearance for sliding,
    by default ``GAP``. ``highest`` is the highest permitted temperature. Source: linear expansion.

    Raises:
        CalculationError: an input is outside its range, or the shaft is not colder than the room.
    """
    _check_interference(diameter, interference)
    require_within("room", room, "The room temperature", "-30 °C", "60 °C")
    alpha = expansion_coefficient("hub-coefficient", hub_coefficient)
    if alpha == 0:
        raise CalculationError("hub-coefficient", "A hub that does not expand cannot be fitted hot",
                               "Steel has about 12 ppm/K, aluminium about 23.")  # fmt: skip
    if gap is not None:
        require_within("gap", gap, "The gap", "0 mm", "2 mm")
    slide = base(diameter) * GAP if gap is None else base(gap)
    needed = base(interference) + slide
    shown_gap = show(in_unit(slide, diameter.unit)) if gap is None else show(gap)
    cold = None if shaft is None else shaft.temperature
    shrunk = Fraction(0) if shaft is None or cold is None else _shrinkage(diameter, room, shaft.coefficient, cold)
    warming = max(Fraction(0), (needed - shrunk) / (alpha * base(diameter)))
    hot = in_unit(base(room) + warming, room.unit)
    step = "°F" if room.unit == "°F" else "K"
    rise = in_unit(warming, step, difference=True)
    minus = "" if cold is None else " − contraction"
    contraction = line("", "", amount(in_unit(shrunk, diameter.unit), diameter.unit), diameter.unit, "", "").shown
    top = f"({show(interference)} + {shown_gap}{'' if cold is None else f' − {contraction}'})"
    filled = f"{top} / ({show(hub_coefficient)} × {show(diameter)})"
    if warming == 0:
        filled = f"{top} is not above zero, so no heating is needed"
    warm = line("warming", "Warmer than the room by", rise.value, step, f"(δ + gap{minus}) / (α × d)", filled,
                decimals=0)  # fmt: skip
    lines = [line("hub", "Heat the hub to", hot.value, room.unit, "room + warming", f"{show(room)} + {warm.shown}",
                  decimals=0), warm]  # fmt: skip
    notes, cautions = [], [_HOT]
    if shaft is not None and cold is None:
        alone = _cool_alone(shaft.coefficient, needed, diameter, room, f"{show(interference)} + {shown_gap}")
        if alone is None:
            notes.append(f"Cooling the shaft alone is not enough: it would have to be colder than {show(COLDEST)}.")
        else:
            lines.append(alone)
            cautions.append(_FROSTBITE)
    if cold is not None:
        cautions.append(_FROSTBITE)
    if highest is not None:
        if base(hot) <= base(highest):
            notes.append(f"That is within the permitted {show(highest)}.")
        else:
            text = f"That is above the permitted {show(highest)}. Cool the shaft as well."
            cautions.append(Caution("caution", text))
    if warming == 0:
        notes.append("The cold shaft slides in without heating the hub.")
    notes += [
        "Assumed: the hub is evenly warm and stays warm until the parts are together. Allow for the time to carry it.",
        *(("Assumed: a gap of 0.001 of the diameter for sliding.",) if gap is None else ()),
        "Rolling bearings: usually at most 120 °C. Hardened parts: below their tempering temperature (from memory).",
    ]
    title = "Temperature to assemble a press fit"
    source = EXPANSION_SOURCE if gap is None else "linear expansion"
    return CalculationResult(title, tuple(lines), source, tuple(notes), cautions=tuple(cautions))


_HOT = Caution("warning", "Hot parts burn. Wear heat-proof gloves and eye protection. Keep oil and solvents away.")
_FROSTBITE = Caution(
    "warning",
    "Dry ice and liquid nitrogen freeze the skin and displace the air. Wear cold-proof gloves, ventilate well.",
)


def _shrinkage(diameter: Quantity, room: Quantity, coefficient: Quantity, cold: Quantity) -> Fraction:
    """Return the contraction in m of a shaft that is cooled from ``room`` to ``cold``."""
    if not base(COLDEST) <= base(cold) <= base(room):
        raise CalculationError(
            "shaft-temperature", f"{show(cold)} is not between {show(COLDEST)} and the room ({show(room)})",
            "Dry ice has about -78 °C. Leave it out if the shaft is not cooled.",
        )  # fmt: skip
    return base(diameter) * expansion_coefficient("shaft-coefficient", coefficient) * (base(room) - base(cold))


def _cool_alone(
    coefficient: Quantity, needed: Fraction, diameter: Quantity, room: Quantity, filled: str
) -> ResultLine | None:
    """Return the temperature for cooling the shaft alone, ``None`` if it is below the coldest usual bath."""
    alpha = expansion_coefficient("shaft-coefficient", coefficient)
    if alpha == 0 or base(room) - needed / (alpha * base(diameter)) < base(COLDEST):
        return None
    cold = in_unit(base(room) - needed / (alpha * base(diameter)), room.unit)
    return line("shaft", "Or cool the shaft alone to", cold.value, room.unit, "room − (δ + gap) / (αs × d)",
                f"{show(room)} − ({filled}) / ({show(coefficient)} × {show(diameter)})", decimals=0)  # fmt: skip


_PRESSURE = QuantityInput("pressure", "MPa")
_EXPANSION = QuantityInput("expansion", "ppm/K")
_TEMPERATURE = QuantityInput("temperature", "°C")
_DIAMETER = length_field("diameter", "Diameter of the fit", "50 mm")
_INTERFERENCE = length_field("interference", "Interference: shaft − bore, on the diameter", "0.04 mm")


def _press_fit(inputs: Inputs) -> CalculationResult:
    optional = inputs.optional_quantity
    diameter, interference, outside, length = inputs.quantities("diameter", "interference", "hub-outside", "length")
    dimensions = PressFit(diameter, interference, outside, length, optional("shaft-hole"))
    return press_fit(
        dimensions, Elastic(optional("hub-modulus"), optional("hub-poisson")),
        Elastic(optional("shaft-modulus"), optional("shaft-poisson")), optional("friction"), optional("hub-yield"),
    )  # fmt: skip


def _assembly_temperature(inputs: Inputs) -> CalculationResult:
    coefficient, cold = inputs.optional_quantity("shaft-coefficient"), inputs.optional_quantity("shaft-temperature")
    if cold is not None and coefficient is None:
        raise CalculationError("shaft-coefficient", "A cooled shaft needs its coefficient of expansion", "Enter both.")
    return assembly_temperature(
        inputs.quantity("diameter"), inputs.quantity("interference"), inputs.quantity("room"),
        inputs.quantity("hub-coefficient"), None if coefficient is None else ColdShaft(coefficient, cold),
        inputs.optional_quantity("gap"), inputs.optional_quantity("highest"),
    )  # fmt: skip


PRESS_CALCULATIONS = (
    Calculation(
        "press-fit", "Press fit: pressure, stress, force and torque",
        (
            _DIAMETER, _INTERFERENCE, length_field("hub-outside", "Outside diameter of the hub", "80 mm"),
            length_field("length", "Length of the fit", "40 mm"),
            length_field("shaft-hole", "Hole in the shaft (none: solid)", "20 mm", optional=True),
            InputField("hub-modulus", "Young's modulus, hub (default: steel)", _PRESSURE, "70000 MPa", optional=True),
            InputField("shaft-modulus", "Young's modulus, shaft (default: steel)", _PRESSURE, "205000 MPa",
                       optional=True),
            number_field("hub-poisson", "Poisson's ratio, hub (default: 0.3)", "0.33", optional=True),
            number_field("shaft-poisson", "Poisson's ratio, shaft (default: 0.3)", "0.3", optional=True),
            number_field("friction", "Friction, for force and torque", "0.12", optional=True),
            InputField("hub-yield", "Yield stress of the hub", _PRESSURE, "250 MPa", optional=True),
        ),
        _press_fit, LAME,
    ),
    Calculation(
        "fit-temperature", "Temperature to assemble a press fit",
        (
            _DIAMETER, _INTERFERENCE, InputField("room", "Room temperature", _TEMPERATURE, "20 °C"),
            InputField("hub-coefficient", "Expansion of the hub", _EXPANSION, "12 ppm/K"),
            InputField("shaft-coefficient", "Expansion of the shaft, if cooled", _EXPANSION, "12 ppm/K", optional=True),
            InputField("shaft-temperature", "Shaft cooled to", _TEMPERATURE, "-40 °C", optional=True),
            length_field("gap", "Gap for sliding (default: 0.001 × diameter)", "0.05 mm", optional=True),
            InputField("highest", "Highest permitted temperature", _TEMPERATURE, "150 °C", optional=True),
        ),
        _assembly_temperature, EXPANSION_SOURCE,
    ),
)  # fmt: skip
