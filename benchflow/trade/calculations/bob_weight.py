"""Bob-weight for balancing a crankshaft: rotating mass and a share of the reciprocating mass of one crankpin."""

from decimal import Decimal
from fractions import Fraction

from benchflow.quantity import Quantity, base, base_of_difference, parse_quantity, show
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import Calculation, InputField, Inputs, QuantityInput, number_field
from benchflow.trade.calculations.result import CalculationError, CalculationResult, decimals_of, line
from benchflow.trade.rounding import in_unit

SOURCE = "common practice, as the trade's magazines print it"
ROD_TOLERANCE = parse_quantity("2 g")
"""Largest difference of the two ends of a rod from its total mass (own rule)."""


def bob_weight(
    rotating: tuple[tuple[str, Quantity], ...],
    reciprocating: tuple[tuple[str, Quantity], ...],
    rods: int = 2,
    share: Fraction = Fraction(1, 2),
    oil: Quantity | None = None,
) -> CalculationResult:
    """Return the bob-weight of one crankpin, rods × rotating + rods × reciprocating × share + oil.

    ``rotating`` and ``reciprocating`` are the masses for one cylinder by field name. The result is in the unit of the
    first one. ``rods`` is the number of rods on the pin. ``share`` is the balance factor. ``oil`` is the mass of the
    oil in the crankpin. Source: common practice.

    Raises:
        CalculationError: a mass is outside its range, there are not one or two rods, or the share is not from 0 to 1.
    """
    for field, mass in (*rotating, *reciprocating):
        require_within(field, mass, "The mass", "0 g", "50 kg")
    if oil is not None:
        require_within("oil", oil, "The mass of the oil", "0 g", "200 g")
    if rods not in (1, 2):
        raise CalculationError("rods", f"{rods} rods cannot be on one crankpin", "Enter 1 or 2.")
    if not 0 <= share <= 1:
        raise CalculationError("share", f"{float(100 * share):g} % cannot be a share", "50 % is usual for a 90° V8.")
    unit = rotating[0][1].unit
    masses = [mass for _, mass in (*rotating, *reciprocating)]
    turning, moving = (sum((base(mass) for _, mass in group), Fraction(0)) for group in (rotating, reciprocating))
    extra = Fraction(0) if oil is None else base(oil)
    total = rods * turning + rods * moving * share + extra
    decimals = decimals_of(*masses, *(() if oil is None else (oil,)))
    first = line("rotating", "Rotating, one cylinder", in_unit(turning, unit).value, unit, "big end + bearing",
                 " + ".join(show(mass) for _, mass in rotating), decimals=decimals)  # fmt: skip
    second = line("reciprocating", "Reciprocating, one cylinder", in_unit(moving, unit).value, unit,
                  "small end + piston + pin + rings + locks",
                  " + ".join(show(mass) for _, mass in reciprocating), decimals=decimals)  # fmt: skip
    percent = f"{float(100 * share):g} %"
    filled = f"{rods} × {first.shown} + {rods} × {second.shown} × {percent}" + (
        "" if oil is None else f" + {show(oil)}"
    )
    if (total / base(Quantity(Decimal(1), unit, "")) * 10**decimals).denominator != 1:
        decimals += 1  # half a digit of the reciprocating mass
    last = line("bob-weight", "Bob-weight of one crankpin", in_unit(total, unit).value, unit,
                "rods × rotating + rods × reciprocating × share + oil", filled, decimals=decimals)  # fmt: skip
    notes = (
        f"Assumed: {rods} {'rod' if rods == 1 else 'rods'} on each crankpin and a balance factor of {percent}. "
        "50 % is usual for a 90° V8. Ask the maker of the crankshaft for other engines.",
        "Match the parts to the lightest set first. Weigh the ends of the rod on level supports.",
        *(() if oil is not None else ("No oil is counted. Many builders add 2 to 5 g (common practice, no source).",)),
    )
    return CalculationResult("Bob-weight", (last, first, second), SOURCE, notes)


def _check_rod(rod: Quantity, big: Quantity, small: Quantity) -> None:
    require_within("rod", rod, "The mass of the rod", "10 g", "50 kg")
    difference = base(rod) - base(big) - base(small)
    if abs(difference) > base(ROD_TOLERANCE):
        both = in_unit(base(big) + base(small), rod.unit)
        raise CalculationError(
            "rod", f"The two ends weigh {show(both)} together, but the rod {show(rod)}",
            f"Weigh the ends again. They may differ by {show(ROD_TOLERANCE)}.",
        )  # fmt: skip


_ROTATING = ("big-end", "bearing")
_RECIPROCATING = ("small-end", "piston", "pin", "rings")


def _bob_weight(inputs: Inputs) -> CalculationResult:
    rotating = tuple((name, inputs.quantity(name)) for name in _ROTATING)
    reciprocating = [(name, inputs.quantity(name)) for name in _RECIPROCATING]
    locks, rods, share = (inputs.optional_quantity(name) for name in ("locks", "rods", "share"))
    rod = inputs.optional_quantity("rod")
    if locks is not None:
        reciprocating.append(("locks", locks))
    if rod is not None:
        _check_rod(rod, inputs.quantity("big-end"), inputs.quantity("small-end"))
    if rods is not None and rods.value not in (1, 2):
        raise CalculationError("rods", f"{show(rods)} rods cannot be on one crankpin", "Enter 1 or 2.")
    return bob_weight(
        rotating, tuple(reciprocating), 2 if rods is None else int(rods.value),
        Fraction(1, 2) if share is None else base_of_difference(share), inputs.optional_quantity("oil"),
    )  # fmt: skip


def _mass(name: str, ask: str, example: str, *, optional: bool = False) -> InputField:
    return InputField(name, ask, QuantityInput("mass", "g"), example, optional)


BALANCE_CALCULATIONS = (
    Calculation(
        "bob-weight", "Bob-weight of a crankpin",
        (
            _mass("big-end", "Big end of the rod, with bolts", "445 g"),
            _mass("bearing", "Bearing shells of one rod", "43 g"),
            _mass("small-end", "Small end of the rod", "175 g"), _mass("piston", "Piston", "452 g"),
            _mass("pin", "Piston pin", "118 g"), _mass("rings", "Rings of one piston", "37 g"),
            _mass("locks", "Pin locks of one piston", "2 g", optional=True),
            _mass("oil", "Oil in the crankpin", "4 g", optional=True),
            _mass("rod", "Whole rod, to check its two ends", "620 g", optional=True),
            number_field("rods", "Rods on one crankpin (default: 2)", "2", optional=True),
            InputField("share", "Share of the reciprocating mass (default: 50 %)", QuantityInput("fraction", "%"),
                       "50 %", optional=True),
        ),
        _bob_weight, SOURCE,
    ),
)  # fmt: skip
