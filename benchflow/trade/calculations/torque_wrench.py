"""Torque wrenches: setting with an extension, check against a reference, friction drag, and conversion of a torque.

A crowfoot or other adapter in line with the wrench, pointing away from the hand, lengthens the lever. The fastener then
gets more torque than the wrench shows. Pointing back to the hand, it gets less. At 90° it gets the same. A socket
extension along the axis of the fastener changes nothing.
"""

from decimal import Decimal
from fractions import Fraction
from math import cos, isclose, radians

from benchflow.quantity import Limit, Quantity, base, convert, show
from benchflow.quantity.arithmetic import decimal
from benchflow.quantity.shown import magnitude, with_unit
from benchflow.trade.calculations.input_checks import require_not_negative, require_within
from benchflow.trade.calculations.inputs import (
    Calculation,
    InputField,
    Inputs,
    UnitInput,
    angle_field,
    length_field,
    torque_field,
    torque_range_field,
)
from benchflow.trade.calculations.result import (
    CalculationError,
    CalculationResult,
    decimals_of,
    decimals_that_tell,
    digits_of,
    line,
    require_positive,
)
from benchflow.trade.rounding import amount, round_inwards, without_trailing_zeros

UNIT_SOURCE = "NIST SP 811, App. B (exact factors), as a package of units transcribes it"
EXTENSION_SOURCE = "US Army TM 1-1500-204-23-9 fig. 8-16; FAA AC 43.13-1B fig. 7-2 (from memory)"


def setting(torque: Quantity, lever: Quantity, extension: Quantity, angle: Quantity | None = None) -> Quantity:
    """Return the wrench setting for ``torque`` at the fastener, TW = TA L / (L + E cos a), in the unit of ``torque``.

    ``lever`` L is the length from the square to the middle of the grip, ``extension`` E from the square to the middle
    of the fastener. ``angle`` a is between the two: 0° in line (the default), 90° across, 180° pointing back. The
    result has 28 digits. Source: ``EXTENSION_SOURCE``.

    Raises:
        CalculationError: the lever is not from 20 mm to 5 m, the extension not from zero to 5 m, the angle not from
            -360° to 360°, or less than a tenth of the lever is left.
    """
    share = _lever_share(lever, extension, angle)
    return Quantity(decimal(Fraction(torque.value) * share), torque.unit, "")


def _check_torque(field: str, torque: Quantity, label: str) -> None:
    require_within(field, torque, label, "0.001 N·m", "100000 N·m")


def _lever_share(lever: Quantity, extension: Quantity, angle: Quantity | None) -> Fraction:
    """Return L / (L + E cos a)."""
    require_within("lever", lever, "The length of the wrench", "20 mm", "5 m")
    if angle is not None:
        require_within("angle", angle, "The angle of the extension", "-360°", "360°")
    if extension.value < 0:
        raise CalculationError(
            "extension", "The length of an extension cannot be below zero", "Enter an angle of 180° if it points back."
        )
    require_within("extension", extension, "The length of the extension", "0 mm", "5 m")
    length, reach = base(lever), base(extension) * _cosine(angle)
    if length + reach <= length / 10:
        raise CalculationError("extension", "The extension reaches back to the hand, so no lever is left")
    return length / (length + reach)


def _cosine(angle: Quantity | None) -> Fraction:
    if angle is None:
        return Fraction(1)
    degrees = amount(angle, "°") % 360
    exact = {0: 1, 90: 0, 180: -1, 270: 0}
    if degrees in exact:
        return Fraction(exact[int(degrees)])
    return Fraction(cos(radians(float(degrees))))


def with_extension(
    torque: Quantity,
    lever: Quantity,
    extension: Quantity,
    angle: Quantity | None = None,
    highest: Quantity | None = None,
) -> CalculationResult:
    """Return the wrench setting with its formula, rounded to the digits of ``torque``.

    ``highest`` is the high end of a range of torques, ``torque`` then its low end. Arguments, units and source are
    those of :func:`setting`.

    Raises:
        CalculationError: as in :func:`setting`, or the torque is not from 0.001 N·m to 100 kN·m.
    """
    formula, reach = _reach(extension, angle)
    lines = []
    for name, title, one in _ends("setting", "Set the wrench to", torque, highest):
        exact = setting(one, lever, extension, angle)
        filled = f"{show(one)} × {show(lever)} / ({show(lever)} + {reach})"
        lines.append(line(name, title, exact.value, torque.unit, f"TW = TA × L / ({formula})", filled,
                          digits=digits_of(one)))  # fmt: skip
    return CalculationResult("Torque wrench with an extension", tuple(lines), EXTENSION_SOURCE, _extension_notes(angle))


def _ends(name: str, title: str, torque: Quantity, highest: Quantity | None) -> tuple[tuple[str, str, Quantity], ...]:
    """Return name and title of a line for each end of a range of torques, or for one torque.

    Raises:
        CalculationError: a torque is not from 0.001 N·m to 100 kN·m.
    """
    _check_torque("torque", torque, "The torque")
    if highest is None:
        return ((name, title, torque),)
    _check_torque("torque", highest, "The torque")
    return (name, f"{title}, from", torque), (f"{name}-high", f"{title}, to", highest)


def torque_at_fastener(
    setting: Quantity, lever: Quantity, extension: Quantity, angle: Quantity | None = None
) -> CalculationResult:
    """Return the torque at the fastener for a wrench setting, TA = TW (L + E cos a) / L, in the unit of ``setting``.

    The other arguments and the source are those of :func:`setting`.

    Raises:
        CalculationError: as in :func:`setting`, or the setting is not from 0.001 N·m to 100 kN·m.
    """
    _check_torque("setting", setting, "The setting")
    exact = Fraction(setting.value) / _lever_share(lever, extension, angle)
    formula, reach = _reach(extension, angle)
    filled = f"{show(setting)} × ({show(lever)} + {reach}) / {show(lever)}"
    one = line("torque", "Torque at the fastener", exact, setting.unit, f"TA = TW × ({formula}) / L", filled,
               digits=digits_of(setting))  # fmt: skip
    return CalculationResult("Torque through an extension", (one,), EXTENSION_SOURCE, _extension_notes(angle))


def _reach(extension: Quantity, angle: Quantity | None) -> tuple[str, str]:
    """Return the effective lever as a formula, and the reach of the extension with its numbers."""
    if angle is None or _cosine(angle) == 1:
        return "L + E", show(extension)
    return "L + E × cos a", f"{show(extension)} × cos {show(angle)}"


def _extension_notes(angle: Quantity | None) -> tuple[str, ...]:
    grip = (
        "Assumed: a wrench held in the middle of its grip, without a pipe over the handle. Both lengths are measured "
        "square to the axis of the fastener."
    )
    if isclose(float(_cosine(angle)), 0.0, abs_tol=1e-9):
        return grip, "At 90° the extension changes nothing."
    return (grip,)


# --- checking the wrench ----------------------------------------------------------------------------


def deviation(shown: Quantity, reference: Quantity) -> Decimal:
    """Return the deviation in per cent of the *reference*: (shown − reference) / reference × 100.

    Both torques can have any unit. Source: ISO 6789-1, 7 (from memory).

    Raises:
        CalculationError: the reference is not above zero.
    """
    require_positive("reference", reference, "The reference reading")
    return without_trailing_zeros(decimal((base(shown) - base(reference)) / base(reference) * 100))


def permitted_deviation(largest: Quantity) -> Decimal:
    """Return the permitted deviation in per cent of a setting wrench (type II class A) with a scale to ``largest``.

    It is 4 % if ``largest`` is above 10 N·m, otherwise 6 %. Source: ISO 6789, as a wrench maker's manual reviews it.
    """
    return Decimal(4) if amount(largest, "N·m") > 10 else Decimal(6)


def acceptable_readings(shown: Quantity, percent: Decimal) -> Limit:
    """Return the reference readings for which the deviation is within ``percent``, in the unit of ``shown``.

    The deviation is in per cent of the reference, so the two ends are not symmetrical. For 100 N·m and 4 % they are
    96.154 and 104.167 N·m. The text has the ends rounded inwards. ``percent`` is below 100. Source: the
    formula of :func:`deviation`.
    """
    share = Fraction(percent) / 100
    low = Quantity(decimal(Fraction(shown.value) / (1 + share)), shown.unit, "")
    high = Quantity(decimal(Fraction(shown.value) / (1 - share)), shown.unit, "")
    places = max(2, 3 - magnitude(Fraction(shown.value)))
    first = round_inwards(Fraction(low.value), places, up=True)
    last = round_inwards(Fraction(high.value), places, up=False)
    return Limit(low, high, f"{first:f} .. {with_unit(f'{last:f}', shown.unit)}")


def wrench_check(shown: Quantity, reference: Quantity, largest: Quantity) -> CalculationResult:
    """Return the deviation of a wrench in % at one point of its check, with the permitted deviation as a note.

    ``shown`` is the setting of the wrench, ``reference`` the reading of the reference, ``largest`` the end of the
    scale. Sources are those of :func:`deviation` and :func:`permitted_deviation`.

    Raises:
        CalculationError: a torque is not from 0.001 N·m to 100 kN·m, the setting is beyond the scale, or setting and
            reference differ by more than half.
    """
    for field, value, label in (
        ("shown", shown, "The setting"), ("reference", reference, "The reference reading"),
        ("largest", largest, "The end of the scale"),
    ):  # fmt: skip
        _check_torque(field, value, label)
    if base(shown) > base(largest):
        raise CalculationError(
            "shown", f"A setting of {show(shown)} is beyond the end of the scale, {show(largest)}",
            "Check both numbers and their units.",
        )  # fmt: skip
    if not base(reference) / 2 <= base(shown) <= base(reference) * 3 / 2:
        raise CalculationError(
            "reference", f"A reading of {show(reference)} does not belong to a setting of {show(shown)}",
            "They differ by more than half. Check both numbers and their units.",
        )  # fmt: skip
    permitted = permitted_deviation(largest)
    percent = deviation(shown, reference)
    allowed = acceptable_readings(shown, permitted)
    filled = f"({show(shown)} − {show(reference)}) / {show(reference)} × 100 %"
    one = line("deviation", "Deviation", percent, "%", "(shown − reference) / reference × 100 %", filled,
               decimals=decimals_that_tell(percent, 2, -permitted, permitted))  # fmt: skip
    limit = line("permitted", "Permitted, at most", permitted, "%", "4 % above 10 N·m, 6 % up to 10 N·m",
                 f"scale to {show(largest)}", decimals=0)  # fmt: skip
    verdict = "within" if abs(percent) <= permitted else "outside"
    low = ("Below 20 % of the scale, a wrench has no stated accuracy.",) if base(shown) < base(largest) / 5 else ()
    return CalculationResult(
        "Check of a torque wrench",
        (one, limit),
        "ISO 6789-1, 7 (from memory); permitted deviation as a maker's manual reviews it",
        (
            f"That is {verdict} ±{permitted} %. The reference may read {allowed.text}.",
            *low,
            "Assumed: a setting wrench with a scale (type II class A), and a reference without error of its own.",
            "Check at 20 %, 60 % and 100 % of the scale, five times each, after five pulls at full scale.",
        ),
    )


# --- friction drag ----------------------------------------------------------------------------------

DRAG_SOURCE = "FAA AC 43.13-1B, 7-40"


def with_drag(torque: Quantity, drag: Quantity, highest: Quantity | None = None) -> CalculationResult:
    """Return the final torque of a self-locking nut: the specified torque plus the drag just before the nut seats.

    ``highest`` is the high end of a range of torques, ``torque`` then its low end. The result is in the unit of
    ``torque``. Source: FAA AC 43.13-1B, 7-40.

    Raises:
        CalculationError: the torque is not from 0.001 N·m to 100 kN·m, or the drag is below zero or more than twice
            the torque.
    """
    ends = _ends("setting", "Final torque", torque, highest)
    require_not_negative("drag", drag, "The drag")
    if base(drag) > 2 * base(torque):
        raise CalculationError(
            "drag", f"A drag of {show(drag)} is more than twice the specified torque of {show(torque)}",
            "Check both units. If it is true, the thread is damaged: change the nut.",
        )  # fmt: skip
    lines = [
        line(name, title, Fraction(one.value) + amount(drag, one.unit), one.unit, "T = specified + drag",
             f"{show(one)} + {show(drag)}", decimals=_decimals_with_drag(one, drag))
        for name, title, one in ends
    ]  # fmt: skip
    notes = (
        "Assumed: a specified torque that does not include the drag.",
        "Measure the drag on the last turns before the nut seats.",
        "If the nut chatters, back it off and torque it again.",
        "Tighten a castle nut to the lowest torque plus drag. To reach the hole, never exceed the highest torque plus "
        "drag. Change the washer or the nut instead.",
    )
    return CalculationResult("Torque with friction drag", tuple(lines), DRAG_SOURCE, notes)


def _decimals_with_drag(torque: Quantity, drag: Quantity) -> int:
    """Return the decimals of the sum. A drag in another unit keeps two significant digits (own rule)."""
    if drag.unit == torque.unit or not drag.value:
        return decimals_of(torque, drag)
    return max(decimals_of(torque), 1 - magnitude(amount(drag, torque.unit)))


def convert_torque(torque: Quantity, unit: str, highest: Quantity | None = None) -> CalculationResult:
    """Return a torque in another unit, rounded to one digit more than the input has (at least four digits).

    ``highest`` is the high end of a range of torques, ``torque`` then its low end.

    Source: NIST SP 811, App. B (exact factors).

    Raises:
        QuantityError: ``unit`` is not a unit of torque.
        CalculationError: the torque is below zero.
    """
    require_not_negative("torque", torque, "A torque", "Leave the sign out: it does not change the conversion.")
    ends = [("torque", "Torque", torque)]
    if highest is not None:
        ends = [("torque", "Torque, from", torque), ("torque-high", "Torque, to", highest)]
    lines = [
        line(name, title, convert(one, unit).value, unit, "exact by definition of the units", show(one),
             digits=digits_of(one, least=3) + 1)
        for name, title, one in ends
    ]  # fmt: skip
    return CalculationResult("Torque in another unit", tuple(lines), UNIT_SOURCE)


_LEVER_FIELDS = (
    length_field("lever", "Wrench, square to middle of grip", "10 in"),
    length_field("extension", "Extension, square to fastener", "4 in"),
    angle_field("angle", "Angle: 0° in line, 90° across, 180° pointing back", "0°", optional=True),
)


def _lever(inputs: Inputs) -> tuple[Quantity, Quantity, Quantity | None]:
    return inputs.quantity("lever"), inputs.quantity("extension"), inputs.optional_quantity("angle")


def _converted(inputs: Inputs) -> CalculationResult:
    torque, highest = inputs.range("torque")
    return convert_torque(torque, inputs.text("unit"), highest)


def _extended(inputs: Inputs) -> CalculationResult:
    torque, highest = inputs.range("torque")
    return with_extension(torque, *_lever(inputs), highest)


def _dragged(inputs: Inputs) -> CalculationResult:
    torque, highest = inputs.range("torque")
    return with_drag(torque, inputs.quantity("drag"), highest)


WRENCH_CALCULATIONS = (
    Calculation(
        "torque", "A torque in another unit",
        (
            torque_range_field("torque", "Torque", "95 in-lb"),
            InputField("unit", "New unit", UnitInput("torque"), "N·m"),
        ),
        _converted,
        UNIT_SOURCE,
    ),
    Calculation(
        "wrench", "Torque wrench setting with an extension or crowfoot",
        (torque_range_field("torque", "Torque at the fastener", "300 in-lb"), *_LEVER_FIELDS),
        _extended,
        EXTENSION_SOURCE,
    ),
    Calculation(
        "wrench-torque", "Torque at the fastener through an extension or crowfoot",
        (torque_field("setting", "Wrench setting", "214 in-lb"), *_LEVER_FIELDS),
        lambda inputs: torque_at_fastener(inputs.quantity("setting"), *_lever(inputs)),
        EXTENSION_SOURCE,
    ),
    Calculation(
        "wrench-check", "Check of a torque wrench against a reference",
        (
            torque_field("shown", "Setting of the wrench", "100 N·m"),
            torque_field("reference", "Reading of the reference", "97.2 N·m"),
            torque_field("largest", "End of its scale", "120 N·m"),
        ),
        lambda inputs: wrench_check(*inputs.quantities("shown", "reference", "largest")),
        "ISO 6789-1, 7 (from memory); permitted deviation as a maker's manual reviews it",
    ),
    Calculation(
        "drag", "Final torque of a self-locking nut",
        (
            torque_range_field("torque", "Specified torque", "60 in-lb"),
            torque_field("drag", "Friction drag before it seats", "8 in-lb"),
        ),
        _dragged,
        DRAG_SOURCE,
    ),
)  # fmt: skip
