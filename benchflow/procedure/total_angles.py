"""The sum of the angle stages of a fastener, compared with the total angle that the source prints (`total-angle`)."""

from fractions import Fraction

from benchflow.procedure.model import AngleStage, Joint, OpenStage, Stage, Tighten
from benchflow.quantity import Limit, Quantity, base, interval, show, show_limit
from benchflow.quantity.arithmetic import decimal

Ends = tuple[Fraction | None, Fraction | None]
"""The low and the high end of an angle in the base unit; ``None`` for an open end."""


def stage_members(stage: Stage, joint: Joint) -> tuple[int, ...]:
    """The fasteners that a stage tightens."""
    return tuple(range(1, joint.count + 1)) if stage.only is None else joint.groups[stage.only]


def figure_ends(quantity: Quantity, band: Limit | None) -> Ends:
    """The ends of the figure of a stage in the base unit. Both are the same if it is a quantity."""
    if band is None:
        return base(quantity), base(quantity)
    found = interval(band)
    return found.low, found.high


def wrong_total(tighten: Tighten, joint: Joint) -> str:
    """What is wrong if the angles of a fastener do not add up to the printed total; "" if they do.

    It is "" as well if no total is printed, and while an angle is not known. A printed quantity lies within the sums of
    the low and the high ends. The ends of a printed limit are the sums.
    """
    total = tighten.total_angle
    if total is None or any(isinstance(stage, OpenStage) and stage.what == "angle" for stage in tighten.stages):
        return ""
    sums: dict[int, Ends] = {}
    for fastener in range(1, joint.count + 1):
        angles = [
            figure_ends(stage.angle, stage.band)
            for stage in tighten.stages
            if isinstance(stage, AngleStage) and fastener in stage_members(stage, joint)
        ]
        if angles or not any(stage.only for stage in tighten.stages):
            sums[fastener] = _total([low for low, _ in angles]), _total([high for _, high in angles])
    printed = figure_ends(total, tighten.total_band)
    agrees = {
        fastener: found == printed if tighten.total_band is not None else _within(printed[0], found)
        for fastener, found in sums.items()
    }
    wrong = next((fastener for fastener, good in agrees.items() if not good), None)
    if wrong is None and sums:
        return ""
    whose = "The angles" if len(set(sums.values())) <= 1 else f"The angles of fastener {wrong}"
    text = total.entered if tighten.total_band is None else tighten.total_band.text
    found = _angle_text(*sums.get(wrong or 1, (Fraction(0), Fraction(0))))
    return f"{whose} add up to {found}, but {text} is printed"


def _total(ends: list[Fraction | None]) -> Fraction | None:
    """The sum of the ends; ``None`` if one of them is open."""
    known = [end for end in ends if end is not None]
    return sum(known, Fraction(0)) if len(known) == len(ends) else None


def _within(value: Fraction | None, ends: Ends) -> bool:
    assert value is not None  # a quantity has no open end
    return (ends[0] is None or ends[0] <= value) and (ends[1] is None or value <= ends[1])


def _angle_text(low: Fraction | None, high: Fraction | None) -> str:
    """A sum of angles in degrees: ``165°``, ``120 .. 130°``."""
    ends = [None if end is None else Quantity(decimal(end), "°", "") for end in (low, high)]
    if ends[0] == ends[1] and ends[0] is not None:
        return show(ends[0])
    return show_limit(Limit(ends[0], ends[1], "")) or "no certain sum"
