"""Valve timing from a degree wheel: from opening and closing points to centrelines, and back.

All angles are crank degrees. An opening point counts before its dead centre, a closing point after it. A point on the
other side of its dead centre is negative. All points must be taken at the same lift. The centreline is halfway between
opening and closing. On an asymmetrical lobe this is not the point of greatest lift.
"""

from fractions import Fraction

from benchflow.quantity import Quantity, show
from benchflow.quantity.arithmetic import decimal
from benchflow.trade.calculations.inputs import Calculation, angle_field
from benchflow.trade.calculations.result import CalculationError, CalculationResult, ResultLine, line
from benchflow.trade.rounding import amount

SOURCE = "geometry; as printed in the trade's magazines"
_LIFT = "Take all points at the same lift: checking lift, 1 mm or 0.050 in, as the cam card says."


def timing(
    intake_opens: Quantity, intake_closes: Quantity, exhaust_opens: Quantity, exhaust_closes: Quantity
) -> CalculationResult:
    """Return durations, centrelines, lobe separation, overlap and advance in crank degrees from the four points.

    The intake opens before top and closes after bottom dead centre. The exhaust opens before bottom and closes after
    top dead centre. Source: geometry; the trade's magazines print the same formulas.

    Raises:
        CalculationError: a duration would not be between 0° and 720°.
    """
    intake_duration = _duration("intake", intake_opens, intake_closes)
    exhaust_duration = _duration("exhaust", exhaust_opens, exhaust_closes)
    io, ec = amount(intake_opens, "°"), amount(exhaust_closes, "°")
    intake_centre = intake_duration / 2 - io
    exhaust_centre = exhaust_duration / 2 - ec
    separation = (intake_centre + exhaust_centre) / 2
    overlap = io + ec
    lines = (
        _degrees("intake-duration", "Intake duration", intake_duration, "IO + 180 + IC",
                 f"{show(intake_opens)} + 180° + {show(intake_closes)}"),
        _degrees("exhaust-duration", "Exhaust duration", exhaust_duration, "EO + 180 + EC",
                 f"{show(exhaust_opens)} + 180° + {show(exhaust_closes)}"),
        _degrees("intake-centre", "Intake centreline, after top", intake_centre, "duration / 2 − IO",
                 f"{_text(intake_duration)}° / 2 − {show(intake_opens)}"),
        _degrees("exhaust-centre", "Exhaust centreline, before top", exhaust_centre, "duration / 2 − EC",
                 f"{_text(exhaust_duration)}° / 2 − {show(exhaust_closes)}"),
        _degrees("separation", "Lobe separation", separation, "(intake + exhaust centreline) / 2",
                 f"({_text(intake_centre)}° + {_text(exhaust_centre)}°) / 2"),
        _degrees("overlap", "Overlap", overlap, "IO + EC", f"{show(intake_opens)} + {show(exhaust_closes)}"),
        _degrees("advance", "Advance", separation - intake_centre, "separation − intake centreline",
                 f"{_text(separation)}° − {_text(intake_centre)}°"),
    )  # fmt: skip
    notes = [_LIFT]
    if overlap < 0:
        notes.append("The overlap is negative: the exhaust valve closes before the intake valve opens.")
    return CalculationResult("Valve timing from opening and closing points", lines, SOURCE, tuple(notes))


def points(
    intake_duration: Quantity, exhaust_duration: Quantity, separation: Quantity, advance: Quantity
) -> CalculationResult:
    """Return the opening and closing points in crank degrees from durations, lobe separation and advance.

    A negative advance is a retard. Source: geometry; the trade's magazines print the same formulas.

    Raises:
        CalculationError: a duration is not between 0° and 720°.
    """
    for field, value in (("intake-duration", intake_duration), ("exhaust-duration", exhaust_duration)):
        if not 0 < amount(value, "°") < 720:
            raise CalculationError(field, f"{show(value)} cannot be a duration", "200° to 320° is usual.")
    intake, exhaust = amount(intake_duration, "°") / 2, amount(exhaust_duration, "°") / 2
    lsa, early = amount(separation, "°"), amount(advance, "°")
    i, e, s, a = show(intake_duration), show(exhaust_duration), show(separation), show(advance)
    lines = (
        _degrees("intake-opens", "Intake opens, before top", intake + early - lsa, "ID/2 + adv − LSA",
                 f"{i}/2 + {a} − {s}"),
        _degrees("intake-closes", "Intake closes, after bottom", intake - early + lsa - 180,
                 "ID/2 − adv + LSA − 180", f"{i}/2 − {a} + {s} − 180°"),
        _degrees("exhaust-opens", "Exhaust opens, before bottom", exhaust + early + lsa - 180,
                 "ED/2 + adv + LSA − 180", f"{e}/2 + {a} + {s} − 180°"),
        _degrees("exhaust-closes", "Exhaust closes, after top", exhaust - early - lsa, "ED/2 − adv − LSA",
                 f"{e}/2 − {a} − {s}"),
        _degrees("overlap", "Overlap", intake + exhaust - 2 * lsa, "ID/2 + ED/2 − 2 × LSA",
                 f"{i}/2 + {e}/2 − 2 × {s}"),
    )  # fmt: skip
    notes = (_LIFT, "A negative point is on the other side of its dead centre.")
    return CalculationResult("Opening and closing points", lines, SOURCE, notes)


def centreline(opens: Quantity, closes: Quantity) -> CalculationResult:
    """Return the centreline in crank degrees after top, from two readings at equal lift before and after the peak.

    Both readings are degrees after top dead centre. A reading before it is negative. Source: geometry.
    """
    first, second = amount(opens, "°"), amount(closes, "°")
    if second < first:
        second += 720
    middle = (first + second) / 2
    one = _degrees("centreline", "Centreline, after top", middle, "(first + second) / 2",
                   f"({show(opens)} + {_text(second)}°) / 2")  # fmt: skip
    note = "Take both readings at the same lift, turning in the running direction, so that slack has no effect."
    return CalculationResult("Centreline from equal lifts", (one,), SOURCE, (note,))


def _duration(valve: str, opens: Quantity, closes: Quantity) -> Fraction:
    duration = amount(opens, "°") + 180 + amount(closes, "°")
    if not 0 < duration < 720:
        raise CalculationError(
            f"{valve}-closes", f"The duration would be {_text(duration)}°, but it must be between 0° and 720°"
        )
    return duration


def _degrees(name: str, title: str, value: Fraction, formula: str, filled: str) -> ResultLine:
    return line(name, title, value, "°", formula, filled, decimals=0 if value.denominator == 1 else 1)


def _text(value: Fraction) -> str:
    return f"{decimal(value):f}"


CAM_CALCULATIONS = (
    Calculation(
        "cam-timing", "Centrelines and lobe separation from opening and closing points",
        (
            angle_field("intake-opens", "Intake opens, before top", "31°"),
            angle_field("intake-closes", "Intake closes, after bottom", "63°"),
            angle_field("exhaust-opens", "Exhaust opens, before bottom", "77°"),
            angle_field("exhaust-closes", "Exhaust closes, after top", "29°"),
        ),
        lambda inputs: timing(
            *inputs.quantities("intake-opens", "intake-closes", "exhaust-opens", "exhaust-closes")
        ),
        SOURCE,
    ),
    Calculation(
        "cam-points", "Opening and closing points from durations and lobe separation",
        (
            angle_field("intake-duration", "Intake duration", "274°"),
            angle_field("exhaust-duration", "Exhaust duration", "286°"),
            angle_field("separation", "Lobe separation", "110°"),
            angle_field("advance", "Advance (negative: retard)", "4°"),
        ),
        lambda inputs: points(*inputs.quantities("intake-duration", "exhaust-duration", "separation", "advance")),
        SOURCE,
    ),
    Calculation(
        "centreline", "Centreline from two readings at equal lift",
        (
            angle_field("first", "First reading, after top", "56°"),
            angle_field("second", "Second reading, after top", "156°"),
        ),
        lambda inputs: centreline(*inputs.quantities("first", "second")),
        SOURCE,
    ),
)  # fmt: skip
