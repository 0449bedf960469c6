"""Shims for end play, preload and backlash: the change of a shim that gives the wanted value."""

from fractions import Fraction
from math import degrees

from benchflow.quantity import Quantity, base, show
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import (
    Calculation,
    InputField,
    Inputs,
    WordInput,
    length_field,
    number_field,
)
from benchflow.trade.calculations.result import CalculationError, CalculationResult, ResultLine, decimals_of, line
from benchflow.trade.calculations.shims import nearest_sizes
from benchflow.trade.rounding import in_unit

ARITHMETIC = "arithmetic"
_SHIM_HINT = "Enter the thickness of the whole pack of shims."


def end_play_shim(
    play: Quantity,
    wanted: Quantity,
    shim: Quantity,
    thicker: str,
    available: tuple[Quantity, Quantity, Quantity] | None = None,
) -> CalculationResult:
    """Return the change of a shim, and its new thickness in the unit of ``shim``, that give the wanted end play.

    ``play`` is the end play measured with ``shim`` in place. A preload is a negative end play: the distance by which
    the parts are pressed together. ``thicker`` is ``less-play`` or ``more-play``, the effect of a thicker shim. With
    ``available`` (first size, last size and step), the result has the nearest sizes and the play with each. Source:
    arithmetic.

    Raises:
        CalculationError: an input is outside its range, the new shim would be thinner than zero, or ``available`` has
            no sizes.
    """
    hint = "A preload is negative: write it like -0.05 mm."
    require_within("play", play, "The end play", "-2 mm", "10 mm", hint)
    require_within("wanted", wanted, "The wanted end play", "-2 mm", "10 mm", hint)
    require_within("shim", shim, "The shim", "0 mm", "100 mm", _SHIM_HINT)
    change = base(play) - base(wanted)
    formula, filled = "play − wanted", f"{show(play)} − {_signed(wanted)}"
    if thicker == "more-play":
        change, formula, filled = -change, "wanted − play", f"{show(wanted)} − {_signed(play)}"
    new = in_unit(base(shim) + change, shim.unit)
    if new.value < 0:
        raise CalculationError(
            "shim", f"The pack would have to be {show(in_unit(-base(new), shim.unit))} thinner than no shim at all",
            "Check the readings and which way the shim acts. Otherwise a part must be machined.",
        )  # fmt: skip
    decimals = decimals_of(play, wanted, shim)
    changed = line("change", "Change of the shim (negative: thinner)", in_unit(change, shim.unit).value, shim.unit,
                   formula, filled, decimals=decimals)  # fmt: skip
    lines = [
        line("shim", "New shim", new.value, shim.unit, "shim + change", f"{show(shim)} + {_signed(changed.value)}",
             decimals=decimals),
        changed,
    ]  # fmt: skip
    notes = ["Assumed: the parts are stiff, and the shim acts one for one on the play."]
    if wanted.value < 0:
        notes.append("A preload presses the parts together, so bearings and housing give. Check it by the turning "
                     "torque or as the maker says.")  # fmt: skip
    if play.value < 0:
        notes.append("A preload cannot be measured as play. Calculate from a stack that has play.")
    if available is not None:
        notes += _available(lines, new, available, wanted, thicker)
    notes.append("Assemble with the new shim and measure again.")
    return CalculationResult("Shim for end play or preload", tuple(lines), ARITHMETIC, tuple(notes))


def _available(
    lines: list[ResultLine],
    exact: Quantity,
    available: tuple[Quantity, Quantity, Quantity],
    wanted: Quantity,
    thicker: str,
) -> list[str]:
    """Add the nearest available sizes and the play with each to ``lines``. Return the notes about them."""
    first, _, step = available
    found = nearest_sizes(exact, *available)
    for number, size in enumerate(found.sizes, start=1):
        name = "fit" if len(found.sizes) == 1 else f"fit-{number}"
        lines.append(line(name, "Size to fit", size.value, size.unit, "nearest available size",
                          f"{show(first)} + n × {show(step)}", decimals=decimals_of(size, first, step)))  # fmt: skip
        more = base(size) - base(exact) if thicker == "more-play" else base(exact) - base(size)
        play = in_unit(base(wanted) + more, wanted.unit)
        sign, difference = ("+", more) if more >= 0 else ("−", -more)
        lines.append(line(f"{name}-play", "End play with it (negative: preload)", play.value, play.unit,
                          "wanted ± difference of the sizes",
                          f"{show(wanted)} {sign} {show(in_unit(difference, wanted.unit))}",
                          decimals=decimals_of(wanted, exact, size, unit=wanted.unit)))  # fmt: skip
    notes = ["Two sizes are equally near. Choose one."] if len(found.sizes) > 1 else []
    if found.beyond is not None:
        notes.append(f"The nearest available size is {show(found.beyond)} away from the exact size.")
    return notes


def _signed(quantity: Quantity) -> str:
    return f"({show(quantity)})" if quantity.value < 0 else show(quantity)


# --- backlash ---------------------------------------------------------------------------------------

AXLE_RATIO = Fraction(7, 10)
"""Change of backlash per movement of a ring gear along its axis (common practice, no source).

A bevel gear with a pressure angle α and a pitch angle δ has 2 tan α sin δ: 0.70 for 20° and 75° (geometry).
"""


def backlash_shim(
    measured: Quantity,
    wanted: Quantity,
    ratio: Quantity | None = None,
    back: Quantity | None = None,
    tooth: Quantity | None = None,
) -> CalculationResult:
    """Return how far a ring gear must move along its axis for the wanted backlash, and the new shims on both sides.

    ``ratio`` is the change of backlash per movement, by default ``AXLE_RATIO``. ``back`` is the shim behind the gear:
    a thicker one moves it to the pinion. ``tooth`` is the shim on the side of the teeth. Their sum stays, and with it
    the preload of the bearings. Results are in the unit of ``measured``. Source: geometry; the default ratio is common
    practice.

    Raises:
        CalculationError: an input is outside its range, only one shim is given, or a shim would be thinner than zero.
    """
    require_within("measured", measured, "The backlash", "0 mm", "5 mm")
    require_within("wanted", wanted, "The wanted backlash", "0.01 mm", "5 mm")
    if ratio is not None:
        require_within("ratio", ratio, "The ratio", "0.2", "2", "0.7 is usual for an axle.")
    share = AXLE_RATIO if ratio is None else Fraction(ratio.value)
    if (back is None) != (tooth is None):
        raise CalculationError("back-shim" if back is None else "tooth-shim", "Only one of the two shims is given",
                               "Enter both, or none.")  # fmt: skip
    move = (base(measured) - base(wanted)) / share
    direction = "to the pinion" if move >= 0 else "away from the pinion"
    more, less = (measured, wanted) if move >= 0 else (wanted, measured)
    unit = measured.unit
    decimals = decimals_of(measured, wanted)
    first = line("move", f"Move the ring gear {direction} by", in_unit(abs(move), unit).value, unit,
                 "difference of the backlash / ratio", f"({show(more)} − {show(less)}) / {float(share):g}",
                 decimals=decimals)  # fmt: skip
    lines: list[ResultLine] = [first]
    for field, title, shim, way in (("back-shim", "New shim behind the ring gear", back, 1),
                                    ("tooth-shim", "New shim on the side of the teeth", tooth, -1)):  # fmt: skip
        if shim is not None:
            require_within(field, shim, "The shim", "0 mm", "100 mm", _SHIM_HINT)
            new = in_unit(base(shim) + way * move, unit)
            if new.value < 0:
                raise CalculationError(field, f"A shim of {show(shim)} is too thin for a move of {first.shown}",
                                       "Check the readings and which shim is which.")  # fmt: skip
            sign = "+" if way * move >= 0 else "−"
            lines.append(line(field, title, new.value, unit, "shim ± move", f"{show(shim)} {sign} {first.shown}",
                              decimals=max(decimals, decimals_of(shim))))  # fmt: skip
    notes = [
        "Measure the backlash at several teeth. Use the smallest reading.",
        "What goes on at one side must come off at the other. Otherwise the preload of the bearings changes.",
        "Assemble, measure the backlash again and check the contact pattern.",
    ]
    own = "" if ratio is not None else " (bevel and hypoid axles, common practice, no source)"
    notes.insert(0, f"Assumed: the backlash changes by {float(share):g} of the movement{own}.")
    return CalculationResult("Shims for the backlash of a ring gear", tuple(lines), _BACKLASH_SOURCE, tuple(notes))


_BACKLASH_SOURCE = "geometry; ratio 0.7: common practice, no source"


def backlash_angle(backlash: Quantity, radius: Quantity, other: Quantity | None = None) -> CalculationResult:
    """Return a backlash measured at a radius as an angle in degrees, and as a length at another radius.

    The angle is the arc / the radius. The length is in the unit of ``backlash``. Source: geometry.

    Raises:
        CalculationError: an input is outside its range, or the backlash is more than a tenth of the radius.
    """
    require_within("backlash", backlash, "The backlash", "0 mm", "20 mm")
    for field, each in (("radius", radius), ("other-radius", other)):
        if each is not None:
            require_within(field, each, "The radius", "1 mm", "2000 mm", "Enter the radius, not the diameter.")
    share = base(backlash) / base(radius)
    if share > Fraction(1, 10):
        raise CalculationError(
            "backlash", f"A backlash of {show(backlash)} at a radius of {show(radius)} is not possible",
            "Check both units.",
        )  # fmt: skip
    lines = [line("angle", "Backlash as an angle", degrees(float(share)), "°", "backlash / radius × 180° / π",
                  f"{show(backlash)} / {show(radius)} × 180° / π")]  # fmt: skip
    if other is not None:
        moved = in_unit(share * base(other), backlash.unit)
        lines.append(line("length", f"Backlash at a radius of {show(other)}", moved.value, moved.unit,
                          "backlash × other radius / radius", f"{show(backlash)} × {show(other)} / {show(radius)}",
                          decimals=decimals_of(backlash) + 1))  # fmt: skip
    notes = ("Assumed: the dial gauge is square to the radius, and the other gear is held still.",)
    return CalculationResult("Backlash as an angle", tuple(lines), "geometry", notes)


def _end_play_shim(inputs: Inputs) -> CalculationResult:
    first, last, step = (inputs.optional_quantity(name) for name in ("first", "last", "step"))
    available = None if first is None or last is None or step is None else (first, last, step)
    if available is None and any(each is not None for each in (first, last, step)):
        raise CalculationError("step", "A first size, a last size and a step are needed together", "Enter all or none.")
    play, wanted, shim = inputs.quantities("play", "wanted", "shim")
    return end_play_shim(play, wanted, shim, inputs.text("thicker"), available)


def _backlash_shim(inputs: Inputs) -> CalculationResult:
    ratio, back, tooth = (inputs.optional_quantity(name) for name in ("ratio", "back-shim", "tooth-shim"))
    return backlash_shim(inputs.quantity("measured"), inputs.quantity("wanted"), ratio, back, tooth)


PLAY_CALCULATIONS = (
    Calculation(
        "end-play-shim", "Shim for end play or bearing preload",
        (
            length_field("play", "End play measured", "0.23 mm"),
            length_field("wanted", "End play wanted (negative: preload)", "-0.05 mm"),
            length_field("shim", "Shim in place", "1.40 mm"),
            InputField("thicker", "A thicker shim gives", WordInput(("less-play", "more-play")), "less-play"),
            length_field("first", "Smallest available size", "1.00 mm", optional=True),
            length_field("last", "Largest available size", "2.00 mm", optional=True),
            length_field("step", "Step of the sizes", "0.05 mm", optional=True),
        ),
        _end_play_shim, ARITHMETIC,
    ),
    Calculation(
        "backlash-shim", "Shims for the backlash of a ring gear",
        (
            length_field("measured", "Backlash measured", "0.30 mm"),
            length_field("wanted", "Backlash wanted", "0.16 mm"),
            number_field("ratio", "Change of backlash per movement (default: 0.7)", "0.7", optional=True),
            length_field("back-shim", "Shim behind the ring gear", "1.50 mm", optional=True),
            length_field("tooth-shim", "Shim on the side of the teeth", "1.70 mm", optional=True),
        ),
        _backlash_shim, _BACKLASH_SOURCE,
    ),
    Calculation(
        "backlash-angle", "Backlash as an angle, or at another radius",
        (
            length_field("backlash", "Backlash measured", "0.15 mm"),
            length_field("radius", "Radius at the dial gauge", "60 mm"),
            length_field("other-radius", "Other radius, such as that of the teeth", "85 mm", optional=True),
        ),
        lambda inputs: backlash_angle(
            inputs.quantity("backlash"), inputs.quantity("radius"), inputs.optional_quantity("other-radius")
        ),
        "geometry",
    ),
)  # fmt: skip
