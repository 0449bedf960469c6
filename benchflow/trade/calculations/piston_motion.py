"""Position of the piston by crank angle: drop, clearance to a valve, dynamic compression ratio, rod ratio.

The crank angle counts from top dead centre. The pin is assumed to be in line with the crank (no offset).
"""

from fractions import Fraction
from math import acos, asin, cos, degrees, radians, sin, sqrt

from benchflow.procedure.model import Caution
from benchflow.quantity import Quantity, base, show, show_converted
from benchflow.trade.calculations.clearances import PISTON_TO_VALVE
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import (
    Calculation,
    InputField,
    Inputs,
    WordInput,
    angle_field,
    length_field,
    number_field,
)
from benchflow.trade.calculations.result import (
    CalculationError,
    CalculationResult,
    decimals_of,
    decimals_that_tell,
    line,
)
from benchflow.trade.rounding import amount, in_unit

GEOMETRY = "geometry of the slider crank"
_NO_OFFSET = "Assumed: the pin is not offset, and the rod does not stretch."
_DROP = "r + l − r × cos θ − √(l² − r² × sin² θ)"


def _check_crank(stroke: Quantity, rod: Quantity) -> Fraction:
    """Return the rod ratio.

    Raises:
        CalculationError: the stroke or rod is outside its range, or the two do not fit together.
    """
    require_within("stroke", stroke, "The stroke", "10 mm", "1000 mm")
    require_within("rod", rod, "The rod", "20 mm", "3000 mm", "Enter the length from centre to centre.")
    ratio = base(rod) / base(stroke)
    if not 1 < ratio <= 4:
        raise CalculationError(
            "rod", f"A rod of {show(rod)} does not fit a stroke of {show(stroke)}: it is {float(ratio):.2f} times as "
            "long", "Usual values are 1.4 to 2.2. Enter the stroke, not the throw, and the rod from centre to centre.",
        )  # fmt: skip
    return ratio


def piston_drop(stroke: Quantity, rod: Quantity, angle: float) -> float:
    """Return the distance of the piston below its top position, in the unit of ``stroke``.

    ``angle`` is in degrees from top dead centre. Source: geometry of the slider crank.
    """
    throw, length = float(stroke.value) / 2, float(amount(rod, stroke.unit))
    turned = radians(angle)
    return throw + length - throw * cos(turned) - sqrt(length**2 - (throw * sin(turned)) ** 2)


def _angle(quantity: Quantity) -> float:
    return float(amount(require_within("angle", quantity, "The crank angle", "-360°", "720°"), "°"))


def _decimals(*lengths: Quantity) -> int:
    """Return the decimals of a computed length: one more than the inputs have, but not more than four."""
    return min(4, decimals_of(*lengths) + 1)


def piston_position(
    stroke: Quantity, rod: Quantity, angle: Quantity, deck: Quantity | None = None
) -> CalculationResult:
    """Return the drop of the piston at a crank angle, in the unit of ``stroke``, and its share of the stroke in %.

    ``angle`` counts from top dead centre, before it or after it. ``deck`` is the distance of the piston below the deck
    at top dead centre, negative above it. Source: geometry of the slider crank.

    Raises:
        CalculationError: an input is outside its range, or rod and stroke do not fit together.
    """
    _check_crank(stroke, rod)
    drop = piston_drop(stroke, rod, _angle(angle))
    decimals = max(3, _decimals(stroke))
    throw = in_unit(base(stroke) / 2, stroke.unit)
    filled = f"r = {show(throw)}, l = {show(rod)}, θ = {show(angle)}: drop"
    first = line("drop", "Piston below its top position", drop, stroke.unit, _DROP, filled, decimals=decimals)
    lines = [first, line("share", "Share of the stroke", 100 * drop / float(stroke.value), "%", "drop / stroke",
                         f"{first.shown} / {show(stroke)}", decimals=1)]  # fmt: skip
    if deck is not None:
        _check_deck(deck)
        below = drop + float(amount(deck, stroke.unit))
        lines.append(line("below-deck", "Piston below the deck", below, stroke.unit, "drop + deck",
                          f"{first.shown} + {show(deck)}", decimals=decimals))  # fmt: skip
    return CalculationResult("Position of the piston", tuple(lines), GEOMETRY, (_NO_OFFSET,))


def _check_deck(deck: Quantity) -> None:
    require_within("deck", deck, "The distance to the deck", "-15 mm", "30 mm",
                   "Enter it positive if the piston is below the deck, negative if it is above.")  # fmt: skip


def crank_angle(stroke: Quantity, rod: Quantity, drop: Quantity) -> CalculationResult:
    """Return the crank angle in degrees from top dead centre at which the piston is ``drop`` below its top position.

    Source: geometry (law of cosines).

    Raises:
        CalculationError: an input is outside its range, or the drop is not within the stroke.
    """
    _check_crank(stroke, rod)
    if not 0 <= base(drop) <= base(stroke):
        raise CalculationError("drop", f"The drop must be from zero to the stroke of {show(stroke)}, not {show(drop)}")
    throw, length = float(base(stroke)) / 2, float(base(rod))
    height = throw + length - float(base(drop))
    cosine = (throw**2 + height**2 - length**2) / (2 * throw * height)
    angle = degrees(acos(max(-1.0, min(1.0, cosine))))
    first = line("angle", "Crank angle, before or after top", angle, "°", "cos θ = (r² + h² − l²) / (2 × r × h)",
                 f"h = r + l − {show(drop)}: θ", decimals=2)  # fmt: skip
    notes = [_NO_OFFSET]
    if angle < 15:
        notes.append("So close to top dead centre the piston hardly moves. A small error in the drop is a large angle.")
    return CalculationResult("Crank angle for a drop of the piston", (first,), GEOMETRY, tuple(notes))


# --- valve ------------------------------------------------------------------------------------------


def valve_at_angle(
    stroke: Quantity,
    rod: Quantity,
    angle: Quantity,
    lift: Quantity,
    valve: str,
    deck: Quantity,
    gasket: Quantity,
    pocket: Quantity | None = None,
    recess: Quantity | None = None,
    tilt: Quantity | None = None,
) -> CalculationResult:
    """Return the clearance from the piston to an open valve at a crank angle, and its margin to the usual minimum.

    ``lift`` is the lift at the valve at this angle, with the lash taken off. ``deck`` is the distance of the piston
    below the deck at top dead centre, ``gasket`` its thickness when tightened. ``pocket`` is the depth of the valve
    pocket and ``recess`` the distance of the closed valve above the face of the head, both along the valve. ``tilt`` is
    the angle from the valve to the bore. The result is along the valve, in the unit of ``lift``. ``valve`` is a key of
    ``PISTON_TO_VALVE``. Source: geometry; the minimums are common practice.

    Raises:
        CalculationError: an input is outside its range, or rod and stroke do not fit together.
        KeyError: there is no such valve.
    """
    minimum = PISTON_TO_VALVE[valve]
    _check_crank(stroke, rod)
    _check_deck(deck)
    require_within("lift", lift, "The lift", "0 mm", "40 mm", "Enter the lift at the valve, not at the lobe.")
    require_within("gasket", gasket, "The thickness of the gasket", "0 mm", "10 mm")
    depth = Fraction(0)
    for field, value, label in (("pocket", pocket, "The depth of the pocket"),
                                ("recess", recess, "The recess of the valve")):  # fmt: skip
        if value is not None:
            require_within(field, value, label, "-5 mm" if field == "recess" else "0 mm", "30 mm")
            depth += amount(value, lift.unit)
    if tilt is not None:
        require_within("tilt", tilt, "The angle of the valve", "0°", "60°")
    slope = 1.0 if tilt is None else cos(radians(float(amount(tilt, "°"))))
    drop = piston_drop(in_unit(base(stroke), lift.unit), rod, _angle(angle))
    space = (drop + float(amount(deck, lift.unit)) + float(amount(gasket, lift.unit))) * slope
    clearance = space + float(depth) - float(lift.value)
    decimals = max(2, min(4, decimals_of(lift)))
    least, spare = show_converted(minimum, lift.unit), round(clearance - float(amount(minimum, lift.unit)), 9)
    formula = "drop + deck + gasket" if tilt is None else "(drop + deck + gasket) × cos tilt"
    parts = [
        f"{show(deck)} + {show(gasket)}" if tilt is None else f"({show(deck)} + {show(gasket)}) × cos {show(tilt)}"
    ]
    parts += [show(value) for value in (pocket, recess) if value is not None]
    fall = line("drop", "Piston below its top position", drop, lift.unit, _DROP,
                f"stroke {show(stroke)}, rod {show(rod)}, θ = {show(angle)}: drop", decimals=decimals + 1)  # fmt: skip
    moved = fall.shown if tilt is None else f"{fall.shown} × cos {show(tilt)}"
    lines = (
        line("clearance", f"Clearance at {show(angle)}", clearance, lift.unit, f"{formula} + pocket + recess − lift",
             f"{moved} + {' + '.join(parts)} − {show(lift)}", decimals=decimals),
        line("spare", "Above the usual minimum by", spare, lift.unit, "clearance − usual minimum",
             f"clearance − {least}", decimals=decimals_that_tell(spare, decimals, 0)),
        fall,
    )  # fmt: skip
    notes = (
        "Assumed: the lift has the lash taken off, and the pocket is parallel to the head of the valve.",
        _NO_OFFSET,
        "Calculate it every 2° from 20° before to 20° after top. The smallest clearance is not at top dead centre.",
        "Check it with clay or a dial gauge on the assembled engine.",
    )
    cautions: tuple[Caution, ...] = ()
    if clearance <= 0:
        cautions = (Caution("caution", "The valve and the piston hit each other. Do not turn the engine."),)
    elif spare < 0:
        text = f"This is less than the usual minimum of {least}. Turn the engine only by hand."
        cautions = (Caution("caution", text),)
    title = f"Piston to {valve} valve at {show(angle)}"
    return CalculationResult(title, lines, _VALVE_SOURCE, notes, cautions=cautions)


_VALVE_SOURCE = "geometry; minimum: common practice, no source; the maker's figure comes first"

# --- ratios -----------------------------------------------------------------------------------------


def dynamic_compression(stroke: Quantity, rod: Quantity, ratio: Quantity, closes: Quantity) -> CalculationResult:
    """Return the stroke that is left when the intake valve closes, in the unit of ``stroke``, and the ratio with it.

    ``ratio`` is the static compression ratio. ``closes`` is the angle after bottom dead centre. The ratio is
    1 + (static − 1) × stroke left / stroke. Source: geometry of the slider crank.

    Raises:
        CalculationError: an input is outside its range, or rod and stroke do not fit together.
    """
    _check_crank(stroke, rod)
    require_within("ratio", ratio, "The static compression ratio", "2", "30", "Write it like 10.5, without “:1”.")
    require_within("intake-closes", closes, "The closing of the intake valve", "-60°", "120°",
                   "Enter degrees after bottom dead centre.")  # fmt: skip
    left = piston_drop(stroke, rod, 180 + float(amount(closes, "°")))
    dynamic = 1 + (float(ratio.value) - 1) * left / float(stroke.value)
    first = line("stroke", "Stroke left at closing", left, stroke.unit, _DROP,
                 f"θ = 180° + {show(closes)}: stroke left", decimals=max(3, _decimals(stroke)))  # fmt: skip
    second = line("ratio", "Dynamic compression ratio", dynamic, "", "1 + (static − 1) × stroke left / stroke",
                  f"1 + ({show(ratio)} − 1) × {first.shown} / {show(stroke)}", decimals=2)  # fmt: skip
    notes = (
        "Assumed: the cylinder is filled at the pressure of the intake when the valve closes. Boost is not counted.",
        "Use the closing point at the seat. At 0.050 in or 1 mm of lift it is earlier, and the ratio looks too high.",
        "Usual with pump fuel: 7.5 to 8.5 (common practice, no source).",
        _NO_OFFSET,
    )
    return CalculationResult("Dynamic compression ratio", (second, first), GEOMETRY, notes)


def rod_ratio(rod: Quantity, stroke: Quantity) -> CalculationResult:
    """Return rod length / stroke, and the greatest angle of the rod to the bore in degrees. Source: geometry.

    Raises:
        CalculationError: an input is outside its range, or rod and stroke do not fit together.
    """
    ratio = _check_crank(stroke, rod)
    lines = (
        line("ratio", "Rod ratio", ratio, "", "rod / stroke", f"{show(rod)} / {show(stroke)}", decimals=3),
        line("angle", "Greatest angle of the rod", degrees(asin(1 / (2 * float(ratio)))), "°",
             "arcsin (stroke / (2 × rod))", f"arcsin ({show(stroke)} / (2 × {show(rod)}))", decimals=1),
    )  # fmt: skip
    usual = "Most engines have 1.5 to 2.0 (common practice, no source). This is not a limit."
    outside = () if Fraction(14, 10) <= ratio <= Fraction(22, 10) else (
        "This is unusual. Check that it is the stroke, not the throw, and the rod from centre to centre.",
    )  # fmt: skip
    assumed = "Assumed: the rod is measured from centre to centre, and the pin is not offset."
    return CalculationResult("Rod ratio", lines, "geometry", (*outside, assumed, usual))


_STROKE = length_field("stroke", "Stroke", "88.4 mm")
_ROD = length_field("rod", "Rod, centre to centre", "144.8 mm")


def _valve_at_angle(inputs: Inputs) -> CalculationResult:
    stroke, rod, angle, lift, deck, gasket = inputs.quantities("stroke", "rod", "angle", "lift", "deck", "gasket")
    pocket, recess, tilt = (inputs.optional_quantity(name) for name in ("pocket", "recess", "tilt"))
    return valve_at_angle(stroke, rod, angle, lift, inputs.text("valve"), deck, gasket, pocket, recess, tilt)


MOTION_CALCULATIONS = (
    Calculation(
        "piston-position", "Position of the piston by crank angle",
        (
            _STROKE, _ROD, angle_field("angle", "Crank angle from top", "20°"),
            length_field("deck", "Piston below the deck at top (negative: above)", "0.13 mm", optional=True),
        ),
        lambda inputs: piston_position(
            inputs.quantity("stroke"), inputs.quantity("rod"), inputs.quantity("angle"),
            inputs.optional_quantity("deck"),
        ),
        GEOMETRY,
    ),
    Calculation(
        "crank-angle", "Crank angle for a drop of the piston",
        (_STROKE, _ROD, length_field("drop", "Piston below its top position", "5.00 mm")),
        lambda inputs: crank_angle(*inputs.quantities("stroke", "rod", "drop")),
        GEOMETRY,
    ),
    Calculation(
        "valve-at-angle", "Piston to valve clearance by crank angle",
        (
            _STROKE, _ROD, angle_field("angle", "Crank angle from top", "10°"),
            length_field("lift", "Lift at the valve here, lash taken off", "3.80 mm"),
            InputField("valve", "Valve", WordInput(tuple(PISTON_TO_VALVE)), "intake"),
            length_field("deck", "Piston below the deck at top (negative: above)", "0.13 mm"),
            length_field("gasket", "Gasket, tightened", "1.00 mm"),
            length_field("pocket", "Depth of the valve pocket", "3.80 mm", optional=True),
            length_field("recess", "Valve above the face of the head, closed", "1.20 mm", optional=True),
            angle_field("tilt", "Angle from the valve to the bore", "23°", optional=True),
        ),
        _valve_at_angle, _VALVE_SOURCE,
    ),
    Calculation(
        "dynamic-compression", "Dynamic compression ratio",
        (
            _STROKE, _ROD, number_field("ratio", "Static compression ratio", "9.5"),
            angle_field("intake-closes", "Intake closes, after bottom", "63°"),
        ),
        lambda inputs: dynamic_compression(*inputs.quantities("stroke", "rod", "ratio", "intake-closes")),
        GEOMETRY,
    ),
    Calculation(
        "rod-ratio", "Rod ratio", (_ROD, _STROKE),
        lambda inputs: rod_ratio(*inputs.quantities("rod", "stroke")), "geometry",
    ),
)  # fmt: skip
