"""Valve timing from a degree wheel: from opening and closing points to centrelines, and back.

All angles are crank degrees. An opening point counts before its dead centre, a closing point after it. A point on the
other side of its dead centre is negative. All points must be taken at the same lift. The centreline is halfway between
opening and closing. On an asymmetrical lobe this is not the point of greatest lift.
"""

from fractions import Fraction

from benchflow.quantity import Quantity, show
from benchflow.quantity.arithmetic import decimal
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import Calculation, angle_field
from benchflow.trade.calculations.result import CalculationError, CalculationResult, ResultLine, line
from benchflow.trade.rounding import amount

SOURCE = "geometry; as printed in the trade's magazines"
_LIFT = "Assumed: all points at the same lift (checking lift, 1 mm or 0.050 in, as the cam card says), crank degrees."

_DURATION = (100, 400)
_SEPARATION = (80, 150)
_CENTRELINE = (80, 160)
"""Ranges in crank degrees of the cams of four-stroke engines, wide enough for racing and for retarded closing (own
rule). Outside them, an angle was misread or has the wrong sign."""


def timing(
    intake_opens: Quantity, intake_closes: Quantity, exhaust_opens: Quantity, exhaust_closes: Quantity
) -> CalculationResult:
    """Return durations, centrelines, lobe separation, overlap and advance in crank degrees from the four points.

    The intake opens before top and closes after bottom dead centre. The exhaust opens before bottom and closes after
    top dead centre. Source: geometry; the trade's magazines print the same formulas.

    Raises:
        CalculationError: a point is not from -90° to 150°, or the points contradict each other: a duration is not from
            100° to 400°, a centreline not from 80° to 160°, or the lobe separation not from 80° to 150°.
    """
    for field, value, label in (
        ("intake-opens", intake_opens, "The opening of the intake"),
        ("intake-closes", intake_closes, "The closing of the intake"),
        ("exhaust-opens", exhaust_opens, "The opening of the exhaust"),
        ("exhaust-closes", exhaust_closes, "The closing of the exhaust"),
    ):
        require_within(field, value, label, "-90°", "150°", "Count it from its dead centre, on the side of its title.")
    intake_duration = _duration("intake", intake_opens, intake_closes)
    exhaust_duration = _duration("exhaust", exhaust_opens, exhaust_closes)
    io, ec = amount(intake_opens, "°"), amount(exhaust_closes, "°")
    intake_centre = intake_duration / 2 - io
    exhaust_centre = exhaust_duration / 2 - ec
    separation = (intake_centre + exhaust_centre) / 2
    overlap = io + ec
    for field, angle, name in (
        ("intake-opens", intake_centre, "The intake centreline"),
        ("exhaust-closes", exhaust_centre, "The exhaust centreline"),
    ):
        _check_range(field, angle, name, _CENTRELINE)
    _check_range("", separation, "The lobe separation", _SEPARATION)
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
        CalculationError: a duration is not from 100° to 400°, the lobe separation not from 80° to 150°, or the advance
            not from -45° to 45°.
    """
    for field, value, label in (
        ("intake-duration", intake_duration, "The intake duration"),
        ("exhaust-duration", exhaust_duration, "The exhaust duration"),
    ):
        require_within(field, value, label, "100°", "400°", "In crank degrees, 200° to 320° is usual.")
    require_within("separation", separation, "The lobe separation", "80°", "150°",
                   "In cam degrees, 100° to 120° is usual.")  # fmt: skip
    require_within("advance", advance, "The advance", "-45°", "45°", "In crank degrees, -8° to 8° is usual.")
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

    Both readings are degrees after top dead centre. A reading before it is negative, or above 180° on a wheel that
    counts on to 360° or 720°. A centreline before top is negative. Source: geometry.

    Raises:
        CalculationError: a reading is not from -360° to 720°, the second does not follow the first by 5° to 360°, or
            the centreline is not from 80° to 160° after or before top.
    """
    for field, value, label in (("first", opens, "The first reading"), ("second", closes, "The second reading")):
        require_within(field, value, label, "-360°", "720°", "Read the degrees after top dead centre.")
    first, second = amount(opens, "°"), amount(closes, "°")
    while first > second and first > 180:
        first -= 360  # the wheel counts on: 340° is 20° before top
    if second <= first:
        raise CalculationError(
            "second", f"The second reading, {show(closes)}, must come after the first, {show(opens)}",
            "Turn in the running direction. Enter a reading before top as a negative angle.",
        )  # fmt: skip
    if not 5 <= second - first <= 360:
        raise CalculationError(
            "second", f"The readings are {_text(second - first)}° apart. At equal lift they are 5° to 360° apart",
            "Take both on the same lobe, before and after its peak.",
        )  # fmt: skip
    middle = (first + second) / 2
    shown = middle if middle <= 180 else middle - (360 if middle <= 540 else 720)
    low, high = _CENTRELINE
    if not low <= abs(shown) <= high:
        raise CalculationError(
            "", f"The centreline would be at {_text(middle)}°, but a lobe peaks {low}° to {high}° after or before top",
            "Check both readings, and the dead centre of the wheel.",
        )  # fmt: skip
    turns = "" if shown == middle else f" − {_text(middle - shown)}°"
    one = _degrees("centreline", "Centreline, after top (negative: before)", shown, "(first + second) / 2",
                   f"({_text(first)}° + {show(closes)}) / 2{turns}")  # fmt: skip
    notes = (
        "Assumed: a symmetrical lobe. On an asymmetrical one, this is not the point of greatest lift.",
        "Take both readings at the same lift, turning in the running direction, so that slack has no effect.",
    )
    return CalculationResult("Centreline from equal lifts", (one,), SOURCE, notes)


def _duration(valve: str, opens: Quantity, closes: Quantity) -> Fraction:
    duration = amount(opens, "°") + 180 + amount(closes, "°")
    if duration <= 0:
        raise CalculationError(
            f"{valve}-closes", f"The {valve} would close before it opens: {show(opens)} and {show(closes)}",
            "Check the signs: a point on the other side of its dead centre is negative.",
        )  # fmt: skip
    _check_range(f"{valve}-closes", duration, f"The {valve} duration", _DURATION)
    return duration


def _check_range(field: str, angle: Fraction, label: str, limits: tuple[int, int]) -> None:
    low, high = limits
    if not low <= angle <= high:
        raise CalculationError(
            field, f"{label} would be {_text(angle)}°, but it must be from {low}° to {high}°",
            "Check the points and their signs.",
        )  # fmt: skip


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
