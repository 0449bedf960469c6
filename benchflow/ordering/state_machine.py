"""A plan as a state machine on small integers, for fast searches over many configurations.

Steps are numbered in the plan's order, and sets of steps are bit masks. Each valuation gets a number. The result of a
step or move from a valuation is computed once per *effect* (equal needs, during and sets) and cached. Variables that
the caller leaves out are ignored.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from benchflow.ordering.configuration import Valuation
from benchflow.ordering.interlock import Phase, moves_of
from benchflow.procedure.model import Settings, Values
from benchflow.procedure.plan import Plan

BLOCKED = -1
_NOT_YET = -2


class Effect(NamedTuple):
    """The conditions and writes of a step or move.

    ``needs`` holds (variable, mask of values); ``during`` and ``sets`` hold (variable, value).
    """

    needs: tuple[tuple[int, int], ...]
    during: tuple[tuple[int, int], ...]
    sets: tuple[tuple[int, int], ...]

    @property
    def touches(self) -> frozenset[int]:
        """All variables that the effect reads or writes."""
        return frozenset(variable for part in self for variable, _ in part)


class Breach(NamedTuple):
    """A rule (index into ``Procedure.interference``) that a step would break, and in which phase."""

    rule: int
    phase: Phase


def bits(mask: int) -> Iterator[int]:
    """The positions of the bits that are set, lowest first."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def closure(after: Sequence[int]) -> list[int]:
    """The transitive closure of ``after`` (a bit mask per step). A step in a cycle comes before itself."""
    before = list(after)
    order = _topological_order(after)
    for index in order:
        gathered = before[index]
        for earlier in bits(after[index]):
            gathered |= before[earlier]
        before[index] = gathered
    if len(order) == len(after):
        return before
    changed = True
    while changed:  # needed only if there is a cycle
        changed = False
        for index, mask in enumerate(before):
            gathered = mask
            for earlier in bits(mask):
                gathered |= before[earlier]
            if gathered != mask:
                before[index] = gathered
                changed = True
    return before


def _topological_order(after: Sequence[int]) -> list[int]:
    """The steps in an order that keeps ``after``, without the steps in a cycle or after one."""
    followers: list[list[int]] = [[] for _ in after]
    missing = [mask.bit_count() for mask in after]
    for index, mask in enumerate(after):
        for earlier in bits(mask):
            followers[earlier].append(index)
    order = [index for index, count in enumerate(missing) if count == 0]
    for index in order:  # the list grows during the loop
        for follower in followers[index]:
            missing[follower] -= 1
            if missing[follower] == 0:
                order.append(follower)
    return order


class StateMachine:
    """A plan with numbers for its steps, moves, values and valuations.

    ``steps`` and ``moves`` are ids by number; ``after`` is a bit mask for each step.
    ``effect_of`` holds the effect number of each step, ``move_effects`` of each move.
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
        self.move_effects = [self._effect(m.needs, m.during, m.sets) for m in (built_moves[n] for n in self.moves)]

        self._never = {
            index: tuple((self._number[n], self._mask_with_unknown(n, v)) for n, v in rule.never.items())
            for index, rule in enumerate(procedure.interference)
            if all(name in self._number for name in rule.never)
        }
        self._rules_on: list[list[int]] = [[] for _ in self.variables]
        for index, never in self._never.items():
            for variable, _ in never:
                self._rules_on[variable].append(index)
        self._valuations: list[tuple[int, ...]] = []
        self._valuation_number: dict[tuple[int, ...], int] = {}
        self._broken: list[tuple[int, ...]] = []
        self._next: list[list[int]] = []
        self._moved: dict[tuple[int, int], int] = {}
        self._must_not_meet: dict[tuple[int, bool], tuple[tuple[tuple[int, int], ...], ...]] = {}

    # --- valuations -------------------------------------------------------------------------------

    def number(self, valuation: Valuation) -> int:
        """The number of a valuation. Variables that the machine leaves out are dropped."""
        return self._number_of_values(
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

    def known_values(self, number: int) -> dict[str, str]:
        """The variables whose value is known, with that value."""
        return {name: value for name, value in self.valuation(number).items() if value is not None}

    def values(self, number: int) -> tuple[int, ...]:
        """The value number of each variable; one past the last value means not known."""
        return self._valuations[number]

    # --- effects ----------------------------------------------------------------------------------

    def meets(self, valuation: int, effect: int) -> bool:
        """True if the valuation meets the needs of the effect."""
        values = self._valuations[valuation]
        return all(mask >> values[variable] & 1 for variable, mask in self.effects[effect].needs)

    def breach(self, valuation: int, effect: int, *, is_move: bool = False) -> Breach | None:
        """The first rule that matches during the effect or after it, or ``None``.

        A move without ``during`` has no such phase.
        """
        phases: tuple[tuple[Phase, tuple[tuple[int, int], ...]], ...] = (
            ("during", self.effects[effect].during),
            ("done", self.effects[effect].sets),
        )
        for phase, written in phases[1:] if is_move and not self.effects[effect].during else phases:
            for rule in self._matching_rules(valuation, written):
                return Breach(rule, phase)
        return None

    def must_not_meet(self, effect: int, *, is_move: bool) -> tuple[tuple[tuple[int, int], ...], ...]:
        """Values of other variables with which the effect breaks a rule, each as pairs of (variable, mask).

        They are the rest of each rule that the written values match. The valuation itself must not break a rule.
        """
        known = self._must_not_meet.get((effect, is_move))
        if known is None:
            found: dict[tuple[tuple[int, int], ...], None] = {}
            _, during, sets = self.effects[effect]
            for settings in (sets,) if is_move and not during else (during, sets):
                written = dict(settings)
                for rule in {rule for variable in written for rule in self._rules_on[variable]}:
                    never = self._never[rule]
                    if all(mask >> written[v] & 1 for v, mask in never if v in written):
                        found[tuple((v, mask) for v, mask in never if v not in written)] = None
            known = self._must_not_meet[effect, is_move] = tuple(found)
        return known

    def _matching_rules(self, valuation: int, written: tuple[tuple[int, int], ...]) -> Iterator[int]:
        """The rules that match with ``written`` written over the valuation, in the author's order."""
        broken = self._broken[valuation]
        if not written:
            yield from broken
            return
        values = list(self._valuations[valuation])
        suspects = set(broken)
        for variable, value in written:
            values[variable] = value
            suspects.update(self._rules_on[variable])
        for index in sorted(suspects):
            if all(mask >> values[v] & 1 for v, mask in self._never[index]):
                yield index

    def rules_on(self, variable: int) -> Iterator[tuple[tuple[int, int], ...]]:
        """The rules that name the variable, each as pairs of (variable, mask of matching values)."""
        for index in self._rules_on[variable]:
            yield self._never[index]

    def rule(self, index: int) -> tuple[tuple[int, int], ...]:
        """The rule as pairs of (variable, mask of matching values)."""
        return self._never[index]

    def step(self, valuation: int, effect: int) -> int:
        """The valuation after a step with this effect, or ``BLOCKED``."""
        row = self._next[valuation]
        if effect >= len(row):
            row.extend([_NOT_YET] * (len(self.effects) - len(row)))
        known = row[effect]
        if known == _NOT_YET:
            known = self._result(valuation, effect, is_move=False)
            row[effect] = known
        return known

    def move(self, valuation: int, number: int) -> int:
        """The valuation after the move, or ``BLOCKED``."""
        known = self._moved.get((valuation, number))
        if known is None:
            known = self._result(valuation, self.move_effects[number], is_move=True)
            self._moved[valuation, number] = known
        return known

    def broken_rules(self, valuation: int) -> tuple[int, ...]:
        """The rules that the valuation itself breaks."""
        return self._broken[valuation]

    def values_against(self, variable: int, value: int) -> dict[int, int]:
        """For each other variable, the mask of values that some rule forbids while ``variable`` is at ``value``."""
        against: dict[int, int] = {}
        for index in self._rules_on[variable]:
            never = self._never[index]
            if all(mask >> value & 1 for name, mask in never if name == variable):
                for name, mask in never:
                    against[name] = against.get(name, 0) | mask
        return against

    # --- private ----------------------------------------------------------------------------------

    def _result(self, valuation: int, effect: int, *, is_move: bool) -> int:
        values = self._valuations[valuation]
        needs, _, sets = self.effects[effect]
        for variable, mask in needs:
            if not mask >> values[variable] & 1:
                return BLOCKED
        if self._broken[valuation]:
            if self.breach(valuation, effect, is_move=is_move):
                return BLOCKED
        else:
            for check in self.must_not_meet(effect, is_move=is_move):
                for variable, mask in check:
                    if not mask >> values[variable] & 1:
                        break
                else:
                    return BLOCKED
        if not sets:
            return valuation
        written = list(values)
        for variable, value in sets:
            written[variable] = value
        return self._number_of_values(tuple(written), safe=True)  # checked for breaches above

    def _number_of_values(self, values: tuple[int, ...], *, safe: bool = False) -> int:
        number = self._valuation_number.get(values)
        if number is None:
            number = len(self._valuations)
            self._valuation_number[values] = number
            self._valuations.append(values)
            self._next.append([])
            never = () if safe else self._never.items()
            self._broken.append(tuple(i for i, rule in never if all(mask >> values[v] & 1 for v, mask in rule)))
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

    def _settings(self, settings: Mapping[str, str | None]) -> tuple[tuple[int, int], ...]:
        return tuple(
            sorted((self._number[n], self._value_number(n, v)) for n, v in settings.items() if n in self._number)
        )

    def _value_number(self, name: str, value: str | None) -> int:
        """The number of a value; one past the last value if it is not known."""
        known = self._value_numbers(name)
        return len(known) if value is None else known[value]

    def _value_numbers(self, name: str) -> dict[str, int]:
        return self._value[self._number[name]]

    def _mask(self, name: str, wanted: Iterable[str]) -> int:
        known = self._value_numbers(name)
        return sum({1 << known[value] for value in wanted if value in known})

    def _mask_with_unknown(self, name: str, wanted: Iterable[str]) -> int:
        return self._mask(name, wanted) | 1 << len(self._value_numbers(name))  # a value that is not known matches
