"""A plan in small integers, for whoever has to look at many configurations.

Steps are numbered in the plan's order and sets of steps are bit masks. A valuation is interned as a number;
what a step or a move does to it is worked out once for each *effect* (equal needs, during and sets) and
remembered. Variables that the caller leaves out are not looked at.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from benchflow.ordering.configuration import Valuation
from benchflow.ordering.interlock import Phase, moves_of
from benchflow.procedure.model import Settings, Values
from benchflow.procedure.plan import Plan

BLOCKED = -1
_NOT_YET = -2


class Effect(NamedTuple):
    """``needs`` are (variable, mask of values); ``during`` and ``sets`` (variable, value)."""

    needs: tuple[tuple[int, int], ...]
    during: tuple[tuple[int, int], ...]
    sets: tuple[tuple[int, int], ...]

    @property
    def touches(self) -> frozenset[int]:
        return frozenset(variable for part in self for variable, _ in part)


class Breach(NamedTuple):
    """A rule (index into ``Procedure.interference``) that a step would break, and when."""

    rule: int
    moment: Phase


def bits(mask: int) -> Iterator[int]:
    """The numbers of the bits that are set, lowest first."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def closure(after: Sequence[int]) -> list[int]:
    """Everything that comes before each step, by way of others. A step in a circle comes before itself."""
    before = list(after)
    order = _sorted_or_not(after)
    for index in order:
        gathered = before[index]
        for earlier in bits(after[index]):
            gathered |= before[earlier]
        before[index] = gathered
    if len(order) == len(after):
        return before
    changed = True
    while changed:  # only with a circle in the order, where no sorting helps
        changed = False
        for index, mask in enumerate(before):
            gathered = mask
            for earlier in bits(mask):
                gathered |= before[earlier]
            if gathered != mask:
                before[index] = gathered
                changed = True
    return before


def _sorted_or_not(after: Sequence[int]) -> list[int]:
    """The steps that are not held up by a circle, sorted so that what comes first stands first."""
    followers: list[list[int]] = [[] for _ in after]
    missing = [mask.bit_count() for mask in after]
    for index, mask in enumerate(after):
        for earlier in bits(mask):
            followers[earlier].append(index)
    order = [index for index, count in enumerate(missing) if count == 0]
    for index in order:  # grows while it is walked
        for follower in followers[index]:
            missing[follower] -= 1
            if missing[follower] == 0:
                order.append(follower)
    return order


class StateMachine:
    """``steps`` and ``moves`` are names by number; ``after`` and ``before`` (its closure) bit masks.

    ``effect_of`` numbers the effect of each step, ``move_effects`` of each move.
    """

    def __init__(
        self,
        plan: Plan,
        *,
        variables: Iterable[str] | None = None,
        steps: Iterable[str] | None = None,
        moves: Iterable[str] | None = None,
    ) -> None:
        procedure = plan.procedure
        kept = None if variables is None else set(variables)
        self.variables = [v for v in procedure.state if kept is None or v.name in kept]
        self._number = {variable.name: index for index, variable in enumerate(self.variables)}
        self._value = [{value: i for i, value in enumerate(v.values)} for v in self.variables]

        self.steps: tuple[str, ...] = tuple(plan.steps if steps is None else steps)
        self.index = {name: number for number, name in enumerate(self.steps)}
        self.after = [
            sum({1 << self.index[a] for a in plan.steps[name].after if a in self.index}) for name in self.steps
        ]
        built_moves = moves_of(plan)
        self.moves: tuple[str, ...] = tuple(built_moves if moves is None else moves)

        self.effects: list[Effect] = []
        self._effect_number: dict[Effect, int] = {}
        self.effect_of = [self._effect(s.needs, s.during, s.sets) for s in (plan.steps[name] for name in self.steps)]
        self.move_effects = [self._effect(m.needs, {}, m.sets) for m in (built_moves[n] for n in self.moves)]

        self._never = {
            index: tuple((self._number[n], self._never_mask(n, v)) for n, v in rule.never.items())
            for index, rule in enumerate(procedure.interference)
            if all(name in self._number for name in rule.never)
        }
        self._rules_on: list[list[int]] = [[] for _ in self.variables]
        for index, never in self._never.items():
            for variable, _ in never:
                self._rules_on[variable].append(index)
        self._valuations: list[tuple[int, ...]] = []
        self._valuation_number: dict[tuple[int, ...], int] = {}
        self._standing: list[tuple[int, ...]] = []
        self._next: list[list[int]] = []
        self._moved: dict[tuple[int, int], int] = {}

    # --- valuations -------------------------------------------------------------------------------

    def number(self, valuation: Valuation) -> int:
        """The number of a valuation; variables left out of the machine are dropped."""
        return self._intern(
            tuple(
                len(known) if (value := valuation.get(variable.name)) is None else known[value]
                for variable, known in zip(self.variables, self._value, strict=True)
            )
        )

    def valuation(self, number: int) -> Valuation:
        return {
            variable.name: variable.values[value] if value < len(variable.values) else None
            for variable, value in zip(self.variables, self._valuations[number], strict=True)
        }

    def values(self, number: int) -> tuple[int, ...]:
        """Value numbers by variable; the number of values itself where it is not known."""
        return self._valuations[number]

    # --- what effects do --------------------------------------------------------------------------

    def meets(self, valuation: int, effect: int) -> bool:
        """Whether the needs stand."""
        values = self._valuations[valuation]
        return all(mask >> values[variable] & 1 for variable, mask in self.effects[effect].needs)

    def breach(self, valuation: int, effect: int, *, is_move: bool = False) -> Breach | None:
        """The first rule that matches in hand or when done, or ``None``. A move is never in hand."""
        moments: tuple[tuple[Phase, tuple[tuple[int, int], ...]], ...] = (
            ("during", self.effects[effect].during),
            ("done", self.effects[effect].sets),
        )
        for moment, written in moments[1:] if is_move else moments:
            for rule in self._matching(valuation, written):
                return Breach(rule, moment)
        return None

    def rules_on(self, variable: int) -> Iterator[tuple[tuple[int, int], ...]]:
        """The rules that name the variable, as (variable, mask of the values that match)."""
        for index in self._rules_on[variable]:
            yield self._never[index]

    def rule(self, index: int) -> tuple[tuple[int, int], ...]:
        return self._never[index]

    def step(self, valuation: int, effect: int) -> int:
        """The valuation when a step of this effect is done from this one, or ``BLOCKED``."""
        row = self._next[valuation]
        if effect >= len(row):
            row.extend([_NOT_YET] * (len(self.effects) - len(row)))
        known = row[effect]
        if known == _NOT_YET:
            known = self._work_out(valuation, effect, is_move=False)
            row[effect] = known
        return known

    def move(self, valuation: int, number: int) -> int:
        """The valuation when the move is made from this one, or ``BLOCKED``."""
        known = self._moved.get((valuation, number))
        if known is None:
            known = self._work_out(valuation, self.move_effects[number], is_move=True)
            self._moved[valuation, number] = known
        return known

    def standing(self, valuation: int) -> tuple[int, ...]:
        """The rules that the valuation itself breaks."""
        return self._standing[valuation]

    def values_against(self, variable: int, value: int) -> dict[int, int]:
        """By other variable, the values that some rule forbids while ``variable`` stands at ``value``."""
        against: dict[int, int] = {}
        for index in self._rules_on[variable]:
            never = self._never[index]
            if all(mask >> value & 1 for name, mask in never if name == variable):
                for name, mask in never:
                    against[name] = against.get(name, 0) | mask
        return against

    # --- inside -----------------------------------------------------------------------------------

    def _work_out(self, valuation: int, effect: int, *, is_move: bool) -> int:
        if not self.meets(valuation, effect) or self.breach(valuation, effect, is_move=is_move):
            return BLOCKED
        sets = self.effects[effect].sets
        if not sets:
            return valuation
        values = list(self._valuations[valuation])
        for variable, value in sets:
            values[variable] = value
        return self._intern(tuple(values), safe=True)  # or it would have been a breach

    def _matching(self, valuation: int, written: tuple[tuple[int, int], ...]) -> Iterator[int]:
        """The rules that match with ``written`` over the valuation, in the author's order."""
        standing = self._standing[valuation]
        if not written:
            yield from standing
            return
        values = list(self._valuations[valuation])
        suspects = set(standing)
        for variable, value in written:
            values[variable] = value
            suspects.update(self._rules_on[variable])
        for index in sorted(suspects):
            if all(mask >> values[v] & 1 for v, mask in self._never[index]):
                yield index

    def _intern(self, values: tuple[int, ...], *, safe: bool = False) -> int:
        number = self._valuation_number.get(values)
        if number is None:
            number = len(self._valuations)
            self._valuation_number[values] = number
            self._valuations.append(values)
            self._next.append([])
            never = () if safe else self._never.items()
            self._standing.append(tuple(i for i, rule in never if all(mask >> values[v] & 1 for v, mask in rule)))
        return number

    def _effect(self, needs: Values, during: Settings, sets: Settings) -> int:
        effect = Effect(
            tuple((self._number[n], self._mask(n, v)) for n, v in needs.items() if n in self._number),
            self._settings(during),
            self._settings(sets),
        )
        number = self._effect_number.setdefault(effect, len(self.effects))
        if number == len(self.effects):
            self.effects.append(effect)
        return number

    def _settings(self, settings: Settings) -> tuple[tuple[int, int], ...]:
        return tuple(sorted((self._number[n], self._known(n)[v]) for n, v in settings.items() if n in self._number))

    def _known(self, name: str) -> dict[str, int]:
        return self._value[self._number[name]]

    def _mask(self, name: str, wanted: Iterable[str]) -> int:
        known = self._known(name)
        return sum({1 << known[value] for value in wanted if value in known})

    def _never_mask(self, name: str, wanted: Iterable[str]) -> int:
        return self._mask(name, wanted) | 1 << len(self._known(name))  # what is not known matches
