"""Valve timing from a degree wheel, both ways: opening and closing points to centrelines, and back.

All in crank degrees. An opening point counts before, a closing point after the dead centre it is named from; a
point on the other side of it is negative. Every point at the same lift, or the numbers mean nothing together.
Sums as printed in the trade's magazines; the centreline is halfway between the points, which for an asymmetrical
lobe is not the point of greatest lift.
"""

from fractions import Fraction

from benchflow.quantity import Quantity, show
from benchflow.quantity.arithmetic import decimal
from benchflow.trade.rounding import amount
from benchflow.trade.worked import Line, SumError, Worked, line

SOURCE = "geometry; as printed in the trade's magazines"
_LIFT = "All points at the same lift: checking lift, 1 mm or 0.050 in, as the cam card says."


def timing(
    intake_opens: Quantity, intake_closes: Quantity, exhaust_opens: Quantity, exhaust_closes: Quantity
) -> Worked:
    """Durations, centrelines, lobe separation, overlap and advance from the four points.

    IO before top, IC after bottom, EO before bottom, EC after top dead centre.
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
        notes.append("The overlap is below nought: the exhaust is shut before the intake opens.")
    return Worked("Valve timing from opening and closing points", lines, SOURCE, tuple(notes))


def points(intake_duration: Quantity, exhaust_duration: Quantity, separation: Quantity, advance: Quantity) -> Worked:
    """The four points from durations, lobe separation and advance (negative where it is retarded)."""
    for field, value in (("intake-duration", intake_duration), ("exhaust-duration", exhaust_duration)):
        if not 0 < amount(value, "°") < 720:
            raise SumError(field, f"A duration of {show(value)} is not one", "200° to 320° is usual.")
    intake, exhaust = amount(intake_duration, "°") / 2, amount(exhaust_duration, "°") / 2
    apart, early = amount(separation, "°"), amount(advance, "°")
    i, e, s, a = show(intake_duration), show(exhaust_duration), show(separation), show(advance)
    lines = (
        _degrees("intake-opens", "Intake opens, before top", intake + early - apart, "ID/2 + adv − LSA",
                 f"{i}/2 + {a} − {s}"),
        _degrees("intake-closes", "Intake closes, after bottom", intake - early + apart - 180,
                 "ID/2 − adv + LSA − 180", f"{i}/2 − {a} + {s} − 180°"),
        _degrees("exhaust-opens", "Exhaust opens, before bottom", exhaust + early + apart - 180,
                 "ED/2 + adv + LSA − 180", f"{e}/2 + {a} + {s} − 180°"),
        _degrees("exhaust-closes", "Exhaust closes, after top", exhaust - early - apart, "ED/2 − adv − LSA",
                 f"{e}/2 − {a} − {s}"),
        _degrees("overlap", "Overlap", intake + exhaust - 2 * apart, "ID/2 + ED/2 − 2 × LSA",
                 f"{i}/2 + {e}/2 − 2 × {s}"),
    )  # fmt: skip
    return Worked("Opening and closing points", lines, SOURCE, (_LIFT, "A negative point lies on the other side."))


def centreline(opens: Quantity, closes: Quantity) -> Worked:
    """Centreline by equal lift either side, wheel at top dead centre 0: readings before and after peak, both in
    degrees after top (a reading before top is negative)."""
    first, second = amount(opens, "°"), amount(closes, "°")
    if second < first:
        second += 720
    middle = (first + second) / 2
    one = _degrees("centreline", "Centreline, after top", middle, "(first + second) / 2",
                   f"({show(opens)} + {_text(second)}°) / 2")  # fmt: skip
    note = "Both readings at the same lift, both turned to in the running direction, or slack spoils them."
    return Worked("Centreline from equal lifts", (one,), SOURCE, (note,))


def _duration(which: str, opens: Quantity, closes: Quantity) -> Fraction:
    duration = amount(opens, "°") + 180 + amount(closes, "°")
    if not 0 < duration < 720:
        raise SumError(f"{which}-closes", f"That makes a duration of {_text(duration)}°, which no {which} lobe has")
    return duration


def _degrees(name: str, title: str, value: Fraction, formula: str, filled: str) -> Line:
    return line(name, title, value, "°", formula, filled, decimals=0 if value.denominator == 1 else 1)


def _text(value: Fraction) -> str:
    return f"{decimal(value):f}"
