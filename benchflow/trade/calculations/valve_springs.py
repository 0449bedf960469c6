"""Valve springs: rate, shims for the installed height, loads, coil bind and clearance under the retainer."""

from fractions import Fraction
from typing import NamedTuple

from benchflow.procedure.model import Caution
from benchflow.quantity import Quantity, base, parse_quantity, show
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import Calculation, InputField, Inputs, QuantityInput, UnitInput, length_field
from benchflow.trade.calculations.result import CalculationError, CalculationResult, ResultLine, decimals_of, line
from benchflow.trade.rounding import in_unit

SOURCE = "Hooke's law; minimum clearances: common practice, no source"
LEAST_CLEARANCE = parse_quantity("0.060 in (1.5 mm)")
"""Usual minimum to coil bind and under the retainer at full lift (common practice, no source)."""

_RELEASE = Caution(
    "warning", "A compressed spring can fly out and injure. Lock the compressor and wear eye protection."
)
_LINEAR = (
    "Assumed: the rate is constant. A progressive spring and a spring set are not linear: test them at both heights."
)
_HEIGHT_HINT = "Measure from the spring seat, with its shims, to the retainer."


def _height(field: str, quantity: Quantity, label: str) -> Quantity:
    return require_within(field, quantity, label, "5 mm", "250 mm", _HEIGHT_HINT)


def _rate(quantity: Quantity) -> Quantity:
    return require_within("rate", quantity, "The spring rate", "1 N/mm", "500 N/mm")


def _rate_unit(load: Quantity) -> str:
    """Return the unit of a rate in which a test of springs with this unit of load is usual."""
    return {"lbf": "lbf/in", "kgf": "kgf/mm"}.get(load.unit, "N/mm")


def spring_rate(
    first_height: Quantity, first_load: Quantity, second_height: Quantity, second_load: Quantity, unit: str = ""
) -> CalculationResult:
    """Return the spring rate in ``unit`` from two loads at two heights, k = (F2 − F1) / (h1 − h2).

    Without ``unit``, it is in the unit that belongs to the unit of the load. Source: Hooke's law.

    Raises:
        CalculationError: an input is outside its range, the heights are equal, or the load does not rise as the spring
            gets shorter.
    """
    for field, height in (("first-height", first_height), ("second-height", second_height)):
        _height(field, height, "The height")
    for field, load in (("first-load", first_load), ("second-load", second_load)):
        require_within(field, load, "The load", "0 N", "20 kN")
    shorter, more = base(first_height) - base(second_height), base(second_load) - base(first_load)
    if shorter == 0:
        raise CalculationError("second-height", "The two heights are equal", "Test the spring at two heights.")
    if more / shorter <= 0:
        raise CalculationError(
            "second-load", "The load must be greater at the lower height", "Check which load belongs to which height."
        )
    rate = in_unit(more / shorter, unit or _rate_unit(first_load))
    filled = f"({show(second_load)} − {show(first_load)}) / ({show(first_height)} − {show(second_height)})"
    first = line("rate", "Spring rate", rate.value, rate.unit, "k = (F2 − F1) / (h1 − h2)", filled, digits=4)
    notes = ("Assumed: both heights are between the free length and coil bind. Between them the rate is an average.",)
    return CalculationResult("Spring rate", (first,), "Hooke's law", notes, cautions=(_RELEASE,))


def spring_shims(measured: Quantity, wanted: Quantity, rate: Quantity | None = None) -> CalculationResult:
    """Return the shims for the wanted installed height in the unit of ``measured``, and the load that they add.

    ``measured`` is the height from the seat to the retainer without these shims. Source: arithmetic.

    Raises:
        CalculationError: an input is outside its range, or the measured height is below the wanted one.
    """
    _height("measured", measured, "The measured height")
    _height("wanted", wanted, "The wanted height")
    difference = base(measured) - base(wanted)
    if difference < 0:
        short = in_unit(-difference, measured.unit)
        raise CalculationError(
            "measured", f"The spring already sits {show(short)} lower than wanted, so no shim can help",
            "Remove a shim, sink the spring seat, or use a longer valve or other locks.",
        )  # fmt: skip
    pack = in_unit(difference, measured.unit)
    filled = f"{show(measured)} − {show(wanted)}"
    lines = [line("shims", "Shims under the spring", pack.value, pack.unit, "measured − wanted", filled,
                  decimals=decimals_of(measured, wanted))]  # fmt: skip
    if rate is not None:
        _rate(rate)
        unit = {"lbf/in": "lbf", "kgf/mm": "kgf"}.get(rate.unit, "N")
        more = in_unit(difference * base(rate), unit)
        lines.append(line("load", "More load at the seat", more.value, unit, "k × shims",
                          f"{show(rate)} × {lines[0].shown}"))  # fmt: skip
    notes = (
        "Assumed: the height was measured with the retainer and the locks that will be fitted.",
        "A trade page accepts an installed height within ±0.020 in (0.5 mm).",
        "Shims take the same amount from the clearance to coil bind. Calculate it again.",
    )
    return CalculationResult("Shims under a valve spring", tuple(lines), "arithmetic", notes)


def valve_spring(
    installed: Quantity,
    lift: Quantity,
    rate: Quantity,
    test_height: Quantity,
    test_load: Quantity,
    coil_bind: Quantity | None = None,
    retainer: Quantity | None = None,
) -> CalculationResult:
    """Return the loads at the seat and at full lift, and the clearances to coil bind and under the retainer.

    ``lift`` is the lift at the valve without the lash. ``test_load`` is the load at ``test_height``; at the free length
    it is zero. ``retainer`` is the gap from the retainer to the stem seal with the valve closed. Loads are in the unit
    of ``test_load``, heights in the unit of ``installed``. Source: Hooke's law.

    Raises:
        CalculationError: an input is outside its range, the spring is loose at the installed height, or it binds there.
    """
    _height("installed", installed, "The installed height")
    _height("test-height", test_height, "The test height")
    require_within("lift", lift, "The lift", "0.5 mm", "40 mm", "Enter the lift at the valve, not at the lobe.")
    require_within("test-load", test_load, "The load", "0 N", "20 kN")
    k = base(_rate(rate))
    seat = base(test_load) + k * (base(test_height) - base(installed))
    opened = in_unit(base(installed) - base(lift), installed.unit)
    if seat <= 0:
        raise CalculationError(
            "installed", f"The spring is loose at {show(installed)}: it would have no load on the seat",
            "Check the installed height, the test height and the rate.",
        )  # fmt: skip
    if opened.value <= 0:
        raise CalculationError("lift", f"A lift of {show(lift)} is more than the installed height")
    unit = test_load.unit
    first = line("seat", "Load at the seat", in_unit(seat, unit).value, unit, "F + k × (test − installed height)",
                 f"{show(test_load)} + {show(rate)} × ({show(test_height)} − {show(installed)})", digits=4)  # fmt: skip
    nose = in_unit(seat + k * base(lift), unit).value
    lines = [
        first,
        line("nose", "Load at full lift (nose)", nose, unit, "seat load + k × lift",
             f"{first.shown} + {show(rate)} × {show(lift)}", digits=4),
        line("open", "Height at full lift", opened.value, opened.unit, "installed height − lift",
             f"{show(installed)} − {show(lift)}", decimals=decimals_of(installed, lift)),
    ]  # fmt: skip
    notes = [_LINEAR, "Assumed: the lift is the lift at the valve, with the lash taken off."]
    margins: list[_Margin] = []
    if coil_bind is not None:
        _height("coil-bind", coil_bind, "The height at coil bind")
        if base(coil_bind) >= base(installed):
            raise CalculationError(
                "coil-bind", f"The spring would already bind at the installed height of {show(installed)}",
                "Check both heights.",
            )  # fmt: skip
        margins.append(_Margin("bind", "Clearance to coil bind at full lift", "height at full lift − coil bind", opened,
                               coil_bind))  # fmt: skip
    if retainer is not None:
        require_within("retainer", retainer, "The gap under the retainer", "0 mm", "60 mm")
        margins.append(_Margin("retainer", "Clearance from retainer to seal at full lift", "gap when closed − lift",
                               retainer, lift))  # fmt: skip
    lines += [margin.line() for margin in margins]
    notes += [f"{margin.title}: at least {_USUAL}." for margin in margins if margin.left() >= base(LEAST_CLEARANCE)]
    cautions = [_RELEASE]
    cautions += [Caution("caution", f"{margin.title}: none. The parts hit each other. Do not turn the engine.")
                 for margin in margins if margin.left() <= 0]  # fmt: skip
    cautions += [Caution("caution", f"{margin.title}: {margin.line().shown}, below {_USUAL}. Correct it first.")
                 for margin in margins if 0 < margin.left() < base(LEAST_CLEARANCE)]  # fmt: skip
    return CalculationResult("Valve spring", tuple(lines), SOURCE, tuple(notes), cautions=tuple(cautions))


class _Margin(NamedTuple):
    """A clearance at full lift, ``space − used``."""

    name: str
    title: str
    formula: str
    space: Quantity
    used: Quantity

    def left(self) -> Fraction:
        """Return the clearance in m."""
        return base(self.space) - base(self.used)

    def line(self) -> ResultLine:
        """Return the clearance in the unit of ``space``."""
        unit = self.space.unit
        return line(self.name, self.title, in_unit(self.left(), unit).value, unit, self.formula,
                    f"{show(self.space)} − {show(self.used)}", decimals=decimals_of(self.space, self.used))  # fmt: skip


_USUAL = f"the usual minimum of {LEAST_CLEARANCE.entered}"


_LOAD = QuantityInput("force", "N")


def _valve_spring(inputs: Inputs) -> CalculationResult:
    names = ("installed", "lift", "rate", "test-height", "test-load")
    installed, lift, rate, test_height, test_load = inputs.quantities(*names)
    coil_bind, retainer = inputs.optional_quantity("coil-bind"), inputs.optional_quantity("retainer")
    return valve_spring(installed, lift, rate, test_height, test_load, coil_bind, retainer)


SPRING_CALCULATIONS = (
    Calculation(
        "valve-spring", "Valve spring: loads, coil bind, retainer clearance",
        (
            length_field("installed", "Installed height", "45.70 mm"),
            length_field("lift", "Lift at the valve, lash taken off", "12.50 mm"),
            InputField("rate", "Spring rate", QuantityInput("stiffness", "N/mm"), "62 N/mm"),
            length_field("test-height", "Height at which the load is known", "45.70 mm"),
            InputField("test-load", "Load at that height (0 at the free length)", _LOAD, "560 N"),
            length_field("coil-bind", "Height at coil bind", "29.20 mm", optional=True),
            length_field("retainer", "Gap from retainer to seal, valve closed", "16.00 mm", optional=True),
        ),
        _valve_spring, SOURCE,
    ),
    Calculation(
        "spring-rate", "Spring rate from two loads",
        (
            length_field("first-height", "First height", "44.00 mm"),
            InputField("first-load", "Load at the first height", _LOAD, "450 N"),
            length_field("second-height", "Second height", "32.00 mm"),
            InputField("second-load", "Load at the second height", _LOAD, "1100 N"),
            InputField("unit", "Unit of the result", UnitInput("stiffness"), "N/mm", optional=True),
        ),
        lambda inputs: spring_rate(
            inputs.quantity("first-height"), inputs.quantity("first-load"), inputs.quantity("second-height"),
            inputs.quantity("second-load"), inputs.text("unit"),
        ),
        "Hooke's law",
    ),
    Calculation(
        "spring-shims", "Shims for the installed height of a valve spring",
        (
            length_field("measured", "Height measured without these shims", "46.80 mm"),
            length_field("wanted", "Installed height wanted", "45.70 mm"),
            InputField("rate", "Spring rate", QuantityInput("stiffness", "N/mm"), "62 N/mm", optional=True),
        ),
        lambda inputs: spring_shims(
            inputs.quantity("measured"), inputs.quantity("wanted"), inputs.optional_quantity("rate")
        ),
        "arithmetic",
    ),
)  # fmt: skip
