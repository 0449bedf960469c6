"""A number with its slopes: how much it changes for a change of each variable that it was calculated from.

Slopes to the first order, by forward differentiation (JCGM 100:2008, 5.1.3).
"""

import math
from collections.abc import Callable
from typing import Final, Self

Slopes = dict[str, float]
"""The slope for each variable, by its key. A variable without influence on the number is left out."""


class SlopedNumber:
    """A float and its ``slopes``. It can be used in sums, products, quotients and powers with other numbers.

    Raises:
        ArithmeticError: a result, or a slope of it, is outside of the range of floats.
    """

    __slots__ = ("slopes", "value")

    def __init__(self, value: float, slopes: Slopes) -> None:
        self.value, self.slopes = value, slopes

    @classmethod
    def variable(cls, key: str, value: float) -> Self:
        """A variable: its slope for itself is 1."""
        return cls(value, {key: 1.0})

    def through(self, value: float, slope: float) -> "SlopedNumber":
        """The result ``value`` of a function that has this ``slope`` here."""
        return SlopedNumber(value, {key: slope * own for key, own in self.slopes.items()})

    def __neg__(self) -> "SlopedNumber":
        return self.through(-self.value, -1.0)

    def __add__(self, other: "Number") -> "SlopedNumber":
        return _combined(self.value + _float(other), self, 1.0, other, 1.0)

    __radd__ = __add__

    def __sub__(self, other: "Number") -> "SlopedNumber":
        return _combined(self.value - _float(other), self, 1.0, other, -1.0)

    def __rsub__(self, other: float) -> "SlopedNumber":
        return self.through(other - self.value, -1.0)

    def __mul__(self, other: "Number") -> "SlopedNumber":
        return _combined(self.value * _float(other), self, _float(other), other, self.value)

    __rmul__ = __mul__

    def __truediv__(self, other: "Number") -> "SlopedNumber":
        divisor = _float(other)
        return _combined(self.value / divisor, self, 1 / divisor, other, -self.value / divisor**2)

    def __rtruediv__(self, other: float) -> "SlopedNumber":
        return self.through(other / self.value, -other / self.value**2)

    def __pow__(self, exponent: float) -> "SlopedNumber":
        slope = exponent * self.value ** (exponent - 1) if exponent else 0.0
        return self.through(self.value**exponent, slope)


Number = SlopedNumber | float
"""A number with slopes, or a constant."""


def _float(number: Number) -> float:
    return number.value if isinstance(number, SlopedNumber) else number


def _combined(value: float, one: SlopedNumber, slope: float, other: Number, other_slope: float) -> SlopedNumber:
    """A result of two numbers, with its slope for each of them."""
    found = {key: slope * own for key, own in one.slopes.items()}
    for key, own in other.slopes.items() if isinstance(other, SlopedNumber) else ():
        found[key] = found.get(key, 0.0) + other_slope * own
    return SlopedNumber(value, found)


def _square_root_slope(x: float) -> float:
    return 0.5 / math.sqrt(x) if x else math.inf


def _arc_slope(x: float) -> float:
    return 1 / math.sqrt(1 - x * x) if abs(x) < 1 else math.inf


_FUNCTIONS: Final[dict[str, tuple[Callable[[float], float], Callable[[float], float]]]] = {
    "sqrt": (math.sqrt, _square_root_slope),
    "sin": (math.sin, math.cos),
    "cos": (math.cos, lambda x: -math.sin(x)),
    "tan": (math.tan, lambda x: 1 + math.tan(x) ** 2),
    "asin": (math.asin, _arc_slope),
    "acos": (math.acos, lambda x: -_arc_slope(x)),
    "atan": (math.atan, lambda x: 1 / (1 + x * x)),
}
"""Each function with its derivative. Source: any table of derivatives."""


def function_of(name: str, number: Number) -> Number:
    """The function ``name`` of a number; angles in radians. At an end of its range the slope can be infinite."""
    function, derivative = _FUNCTIONS[name]
    if isinstance(number, SlopedNumber):
        return number.through(function(number.value), derivative(number.value))
    return function(number)
