"""Finds limits that contradict each other, by the linear inequalities of the values that they compare.

A formula is a sum of readings with exact coefficients. A part of it that is not such a sum, such as a product of two
readings, is an unknown of its own within its range. Each limit is then one or two linear inequalities. They contradict
each other if the elimination of all unknowns ends with a false inequality (Fourier-Motzkin elimination; from memory).
"""

from collections.abc import Iterable, Iterator
from fractions import Fraction

from msgspec import Struct

_MOST_INEQUALITIES = 400
"""With more inequalities the elimination is given up: then no contradiction is found."""


class LinearForm(Struct, frozen=True):
    """A sum of unknowns with coefficients, and a constant, all in the base unit."""

    terms: dict[str, Fraction] = {}
    constant: Fraction = Fraction(0)

    def plus(self, other: "LinearForm", times: Fraction = Fraction(1)) -> "LinearForm":
        """This sum and ``times`` the other."""
        terms = dict(self.terms)
        for name, factor in other.terms.items():
            terms[name] = terms.get(name, Fraction(0)) + factor * times
        kept = {name: factor for name, factor in terms.items() if factor}
        return LinearForm(kept, self.constant + other.constant * times)

    def scaled(self, times: Fraction) -> "LinearForm":
        return LinearForm().plus(self, times)


class Inequality(Struct, frozen=True):
    """``form`` is at least 0, or above 0 if it is ``strict``."""

    form: LinearForm
    strict: bool = False

    @property
    def is_false(self) -> bool:
        value = self.form.constant
        return not self.form.terms and (value < 0 or (self.strict and value == 0))


def contradict(inequalities: Iterable[Inequality]) -> bool:
    """True if no values satisfy all inequalities; false if some do, or if there are too many to try."""
    left = list(inequalities)
    while left:
        if any(each.is_false for each in left):
            return True
        left = [each for each in left if each.form.terms]
        counts: dict[str, list[int]] = {}
        for each in left:
            for name, factor in each.form.terms.items():
                counts.setdefault(name, [0, 0])[factor > 0] += 1
        if not counts:
            return False
        name = min(counts, key=lambda one: counts[one][0] * counts[one][1])
        left = list(_without(name, left))
        if len(left) > _MOST_INEQUALITIES:
            return False
    return False


def _without(name: str, inequalities: list[Inequality]) -> Iterator[Inequality]:
    """The inequalities that follow for the other unknowns."""
    lows = [each for each in inequalities if each.form.terms.get(name, 0) > 0]
    highs = [each for each in inequalities if each.form.terms.get(name, 0) < 0]
    yield from (each for each in inequalities if name not in each.form.terms)
    for low in lows:
        for high in highs:
            form = low.form.scaled(-high.form.terms[name]).plus(high.form, low.form.terms[name])
            yield Inequality(form, low.strict or high.strict)
