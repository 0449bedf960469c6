"""What to set a torque wrench to when something makes it longer, and what a check of the wrench says.

An adapter in line with the wrench (a crowfoot pointing away from the hand) lengthens the lever: the joint
gets more than the wrench shows. Pointing back towards the hand it gets less; across, at 90°, the same.
A plain axial socket extension changes nothing.
"""

from decimal import Decimal
from fractions import Fraction
from math import cos, isclose, radians

from benchflow.quantity import Limit, Quantity, base, show
from benchflow.quantity.arithmetic import decimal
from benchflow.trade.rounding import amount, plain
from benchflow.trade.worked import SumError, Worked, decimals_of, digits_of, line, positive

EXTENSION_SOURCE = "US Army TM 1-1500-204-23-9 fig. 8-16; FAA AC 43.13-1B fig. 7-2 (from memory)"


def setting(torque: Quantity, lever: Quantity, extension: Quantity, angle: Quantity | None = None) -> Quantity:
    """What the wrench has to show for ``torque`` at the fastener, exactly (28 digits): TW = TA * L / (L + E cos a).

    ``lever`` is from the square to the middle of the grip; ``extension`` from the square to the middle of
    the fastener, not negative; ``angle`` between the two, 0° in line, 90° across, 180° pointing back.
    Raises :class:`SumError` where nothing is left of the lever.
    """
    factor = _factor(lever, extension, angle)
    return Quantity(decimal(Fraction(torque.value) * factor), torque.unit, "")


def torque_at_fastener(
    shown: Quantity, lever: Quantity, extension: Quantity, angle: Quantity | None = None
) -> Quantity:
    """The other way round: what the fastener gets when the wrench shows ``shown``."""
    factor = _factor(lever, extension, angle)
    return Quantity(decimal(Fraction(shown.value) / factor), shown.unit, "")


def _factor(lever: Quantity, extension: Quantity, angle: Quantity | None) -> Fraction:
    positive("lever", lever, "The length of the wrench")
    if extension.value < 0:
        raise SumError("extension", "An extension has no negative length", "Give the angle as 180° if it points back")
    length, reach = base(lever), base(extension) * _cosine(angle)
    if length + reach <= length / 10:
        raise SumError("extension", "It reaches back over the hand: next to nothing is left of the lever")
    return length / (length + reach)


def _cosine(angle: Quantity | None) -> Fraction:
    if angle is None:
        return Fraction(1)
    degrees = amount(angle, "°") % 360
    exact = {0: 1, 90: 0, 180: -1, 270: 0}
    if degrees in exact:
        return Fraction(exact[int(degrees)])
    return Fraction(cos(radians(float(degrees))))


def with_extension(torque: Quantity, lever: Quantity, extension: Quantity, angle: Quantity | None = None) -> Worked:
    """The setting, shown with its formula. Errors as :func:`setting`."""
    wanted = setting(torque, lever, extension, angle)
    turned = angle is not None and _cosine(angle) != 1
    formula = "TW = TA × L / (L + E × cos a)" if turned else "TW = TA × L / (L + E)"
    reach = f"{show(extension)} × cos {show(angle)}" if turned and angle is not None else show(extension)
    filled = f"{show(torque)} × {show(lever)} / ({show(lever)} + {reach})"
    notes = ["Hold the wrench in the middle of its grip; a pipe over the handle makes this wrong."]
    if isclose(float(_cosine(angle)), 0.0, abs_tol=1e-9):
        notes.append("Across the wrench the extension changes nothing.")
    one = line("setting", "Set the wrench to", wanted.value, torque.unit, formula, filled, digits=digits_of(torque))
    return Worked("Torque wrench with an extension", (one,), EXTENSION_SOURCE, tuple(notes))


# --- checking the wrench ----------------------------------------------------------------------------


def deviation(shown: Quantity, reference: Quantity) -> Decimal:
    """Deviation in per cent, relative to the *reference*: (xa - xr) / xr * 100 (ISO 6789-1, 7; from memory)."""
    positive("reference", reference, "The reference reading")
    return plain(decimal((base(shown) - base(reference)) / base(reference) * 100))


def permitted_deviation(largest: Quantity) -> Decimal:
    """Per cent, for a setting wrench (type II class A): 4 above 10 N·m at the top of its scale, else 6
    (ISO 6789, as reviewed in a maker's manual)."""
    return Decimal(4) if amount(largest, "N·m") > 10 else Decimal(6)


def acceptable_readings(shown: Quantity, percent: Decimal) -> Limit:
    """The reference readings between which the wrench is within ``percent``: not symmetrical, since the
    deviation is relative to the reference. 100 N·m at 4 % may read from 96.154 to 104.167 N·m."""
    share = Fraction(percent) / 100
    low = Quantity(decimal(Fraction(shown.value) / (1 + share)), shown.unit, "")
    high = Quantity(decimal(Fraction(shown.value) / (1 - share)), shown.unit, "")
    return Limit(low, high, f"{low.value:.2f} .. {show(high, digits=2)}")


def wrench_check(shown: Quantity, reference: Quantity, largest: Quantity) -> Worked:
    """One point of a wrench's check against a reference: its deviation and whether that is permitted."""
    percent = deviation(shown, reference)
    permitted = permitted_deviation(largest)
    allowed = acceptable_readings(shown, permitted)
    filled = f"({show(shown)} − {show(reference)}) / {show(reference)} × 100 %"
    one = line("deviation", "Deviation", percent, "%", "(shown − reference) / reference × 100 %", filled, decimals=2)
    within = base(allowed.low) <= base(reference) <= base(allowed.high) if allowed.low and allowed.high else False
    verdict = "within" if within else "outside"
    return Worked(
        "Check of a torque wrench",
        (one,),
        "ISO 6789-1, 7 (from memory); permitted deviation as reviewed in a maker's manual",
        (
            f"That is {verdict} ±{permitted} %: the reference may read {allowed.text}.",
            "Check at 20 %, 60 % and 100 % of the scale, five times each, after five pulls at full scale.",
        ),
    )


# --- friction drag ----------------------------------------------------------------------------------

DRAG_SOURCE = "FAA AC 43.13-1B, 7-40"


def with_drag(torque: Quantity, drag: Quantity) -> Worked:
    """Self-locking nut: the torque wanted and the drag felt just before the nut seats are added."""
    if drag.value < 0:
        raise SumError("drag", "Drag cannot be below zero")
    total = Fraction(torque.value) + amount(drag, torque.unit)
    filled = f"{show(torque)} + {show(drag)}"
    finest = decimals_of(torque, drag) if drag.unit == torque.unit else decimals_of(torque)
    one = line("setting", "Final torque", total, torque.unit, "T = desired + drag", filled, decimals=finest)
    notes = (
        "Measure the drag on the turns just before the nut seats.",
        "If it chatters, back it off and torque it again.",
        "A castle nut starts at the least torque + drag; never go past the greatest + drag to find the hole: "
        "change the washer or the nut.",
    )
    return Worked("Torque with friction drag", (one,), DRAG_SOURCE, notes)
