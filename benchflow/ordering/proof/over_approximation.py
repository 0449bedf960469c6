"""Sound over-approximation for variable groups too large to explore.

When the order allows a step to start, a variable can have only these values: its start value, unless an earlier step
writes it; a value that a move writes; a value that another step writes. That other step must not come after this one,
and no step between the two in the order may overwrite the value. These are more valuations than real orders can reach.
A statement that is true for all of them is therefore proven.
"""

from collections.abc import Iterable, Sequence

from msgspec import Struct

from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.state_machine import BLOCKED, StateMachine, bits
from benchflow.ordering.work_meter import WorkMeter

_MOST_VALUATIONS = 20_000
_BITS_PER_UNIT = 3_000


class Approximation(Struct, frozen=True):
    """The facts proven about a group.

    ``no_breach`` is true if no order breaks a rule, even without the interlock. ``free`` is true if every step that the
    order allows next can be done, if necessary after moves. ``searched`` is the number of valuations checked.
    """

    no_breach: bool
    free: bool
    searched: int = 0


def approximate(group: VariableGroup, work: WorkMeter) -> Approximation:
    """The facts about the group that can be proven without exploring it, within the limit of ``work``."""
    valuations = _reachable_valuations(group, work)
    if valuations is None:
        return Approximation(no_breach=not group.rules, free=False)
    no_breach = not _any_breach(group, valuations, work)
    return Approximation(no_breach, _is_free(group, valuations, work), len(valuations.numbers))


class _Valuations:
    """Some valuations of a group. A set of them is a mask with one bit for each, by its place in ``numbers``.

    ``holding`` has, for each variable and value, the set of the valuations with that value. ``after_moves`` has, for
    each valuation, the places of those that one move leads to.
    """

    def __init__(self, group: VariableGroup, numbers: list[int], after_moves: list[list[int]]) -> None:
        self.numbers = numbers
        self.after_moves = after_moves
        self.all = (1 << len(numbers)) - 1
        self.holding: list[list[int]] = []
        rows = [group.machine.values(number) for number in numbers]
        for variable, known in enumerate(group.machine.variables):
            columns: list[list[int]] = [[] for _ in range(len(known.values) + 1)]
            for place, row in enumerate(rows):
                columns[row[variable]].append(place)
            self.holding.append([_mask_of(places) if places else 0 for places in columns])

    def with_values(self, variable: int, mask: int) -> int:
        """The valuations in which the variable has one of the values in ``mask``."""
        found = 0
        for value in bits(mask):
            found |= self.holding[variable][value]
        return found

    def that_agree(self, masks: Iterable[tuple[int, int]]) -> int:
        """The valuations in which each variable has one of its values, given as pairs of (variable, mask)."""
        found = self.all
        for variable, mask in masks:
            found &= self.with_values(variable, mask)
        return found


def _reachable_valuations(group: VariableGroup, work: WorkMeter) -> _Valuations | None:
    """Every valuation that steps and moves can reach, in any order and repeated; ``None`` if there are too many."""
    machine = group.machine
    seen = list(group.starts)
    place = {number: index for index, number in enumerate(seen)}
    effects = sorted(effect for effect in group.steps_of_effect if machine.effects[effect].sets)
    moves = range(len(machine.moves))
    after_moves: list[list[int]] = []
    for valuation in seen:  # the list grows during the loop
        if len(seen) > _MOST_VALUATIONS or not work.spend(2 * (1 + len(effects) + len(moves))):
            return None
        moved = [machine.move(valuation, number) for number in moves]
        for then in (*(machine.step(valuation, effect) for effect in effects), *moved):
            if then != BLOCKED and then not in place:
                place[then] = len(seen)
                seen.append(then)
        after_moves.append([place[then] for then in moved if then not in (BLOCKED, valuation)])
    return _Valuations(group, seen, after_moves)


def _any_breach(group: VariableGroup, valuations: _Valuations, work: WorkMeter) -> bool:
    machine = group.machine
    if any(_breaking(machine, valuations, effect, is_move=True) for effect in set(machine.move_effects)):
        return True
    breaking: dict[int, int] = {}
    for step, effect in enumerate(machine.effect_of):
        if group.waiting >> step & 1:
            continue
        if effect not in breaking:
            breaking[effect] = _breaking(machine, valuations, effect, is_move=False)
        if not breaking[effect]:
            continue
        if not work.spend(_work_at(group, valuations)):
            return True
        if breaking[effect] & _valuations_at(group, valuations, step, group.on_paper[step]):
            return True
    return False


def _breaking(machine: StateMachine, valuations: _Valuations, effect: int, *, is_move: bool) -> int:
    """The valuations that meet the needs of the effect, but in which it breaks a rule."""
    broken = 0
    for others in machine.must_not_meet(effect, is_move=is_move):
        broken |= valuations.that_agree(others)
    return broken and broken & valuations.that_agree(machine.effects[effect].needs)


def _is_free(group: VariableGroup, valuations: _Valuations, work: WorkMeter) -> bool:
    machine = group.machine
    components: list[tuple[int, list[int]]] | None = None
    able: dict[int, int] = {}
    for step in bits(group.all):
        effect = machine.effect_of[step]
        if not work.spend(_work_at(group, valuations)):
            return False
        at_once = valuations.that_agree(machine.effects[effect].needs)
        if at_once:
            at_once &= ~_breaking(machine, valuations, effect, is_move=False)
        left = _valuations_at(group, valuations, step, group.before[step]) & ~at_once
        if not left:
            continue
        if effect not in able:
            if components is None:
                components = _components(valuations.after_moves)
                work.spend(2 * len(valuations.numbers))
            if not work.spend(len(components)):
                return False
            able[effect] = _able_after_moves(at_once, components)
        if left & ~able[effect]:
            return False
    return True


def _able_after_moves(targets: int, components: list[tuple[int, list[int]]]) -> int:
    """Add to ``targets`` every valuation from which moves alone lead to one of them."""
    leading: list[bool] = []
    for members, later in components:
        leads = bool(members & targets) or any(leading[other] for other in later)
        leading.append(leads)
        if leads:
            targets |= members
    return targets


def _components(after: Sequence[Sequence[int]]) -> list[tuple[int, list[int]]]:
    """The sets of places that lead to each other, as (mask, numbers of the sets that they lead to directly).

    A set comes after all sets that it leads to. Source: R. Tarjan, Depth-first search and linear graph algorithms,
    1972; from memory.
    """
    found: list[tuple[int, list[int]]] = []
    component = [-1] * len(after)
    lowest = [-1] * len(after)
    stack: list[int] = []
    count = 0
    for root in range(len(after)):
        if lowest[root] >= 0:
            continue
        walk = [(root, count, iter(after[root]))]
        lowest[root] = count
        count += 1
        stack.append(root)
        while walk:
            here, number, edges = walk[-1]
            for then in edges:
                if lowest[then] < 0:
                    walk.append((then, count, iter(after[then])))
                    lowest[then] = count
                    count += 1
                    stack.append(then)
                    break
                if component[then] < 0:
                    lowest[here] = min(lowest[here], lowest[then])
            else:
                walk.pop()
                if walk:
                    before = walk[-1][0]
                    lowest[before] = min(lowest[before], lowest[here])
                if lowest[here] == number:
                    members = [stack.pop()]
                    while members[-1] != here:
                        members.append(stack.pop())
                    for place in members:
                        component[place] = len(found)
                    later = {component[then] for place in members for then in after[place]} - {len(found)}
                    found.append((_mask_of(members), sorted(later)))
    return found


def _mask_of(places: Sequence[int]) -> int:
    """The mask of some places. Setting single bits of a long integer would copy all of it each time."""
    digits = bytearray(b"0") * (max(places) + 1)
    for place in places:
        digits[-1 - place] = ord("1")
    return int(bytes(digits), 2)


def _work_at(group: VariableGroup, valuations: _Valuations) -> int:
    """The work to find the valuations that are possible before one step."""
    return len(group.steps) + len(valuations.numbers) * len(group.variables) // _BITS_PER_UNIT


def _valuations_at(group: VariableGroup, valuations: _Valuations, step: int, before: int) -> int:
    """The valuations possible when everything ``before`` the step is done and the step is not."""
    return valuations.that_agree(enumerate(_possible_values(group, step, before)))


def _possible_values(group: VariableGroup, step: int, before: int) -> list[int]:
    """Return a bit mask per variable: its possible values when all steps ``before`` are done and ``step`` is not."""
    machine = group.machine
    masks = [0] * len(machine.variables)
    written_before = [0] * len(machine.variables)  # for each variable, the earlier steps that write it
    for other in bits(before):
        for variable, _ in machine.effects[machine.effect_of[other]].sets:
            written_before[variable] |= 1 << other
    for start in group.starts:
        for variable, value in enumerate(machine.values(start)):
            if not written_before[variable]:
                masks[variable] |= 1 << value
    for effect in machine.move_effects:
        for variable, value in machine.effects[effect].sets:
            masks[variable] |= 1 << value
    for other in bits(group.all & ~(1 << step)):
        if group.before[other] >> step & 1:
            continue
        for variable, value in machine.effects[machine.effect_of[other]].sets:
            overwriting = written_before[variable]
            if not any(group.before[later] >> other & 1 for later in bits(overwriting)):
                masks[variable] |= 1 << value
    return masks


def surely_stuck(group: VariableGroup, done: int, valuation: int) -> bool:
    """True if it is proven that some step can never be done from here. "False" proves nothing.

    The test is a sound over-approximation. A variable that gets a new value is assumed to have its earlier values too.
    """
    machine = group.machine
    values = [1 << value for value in machine.values(valuation)]
    left = group.all & ~done
    moves = set(machine.move_effects)
    waiting = {*moves, *(effect for effect, steps in group.steps_of_effect.items() if steps & left)}
    may_be_done = 0  # the steps whose effect is possible; it stays possible, because values are only added
    while left:
        possible = [effect for effect in waiting if _may_be_done(machine, effect, values)]
        waiting.difference_update(possible)
        for effect in possible:
            may_be_done |= group.steps_of_effect.get(effect, 0)
        written = [effect for effect in possible if effect in moves]
        for step in bits(left & may_be_done):
            if not group.before[step] & left:
                left ^= 1 << step
                written.append(machine.effect_of[step])
        if not written:
            return True
        for effect in written:
            for variable, value in machine.effects[effect].sets:
                values[variable] |= 1 << value
    return False


def _may_be_done(machine: StateMachine, effect: int, values: Sequence[int]) -> bool:
    needs, during, sets = machine.effects[effect]
    if any(not values[variable] & mask for variable, mask in needs):
        return False
    for settings in (during, sets):
        written = dict(settings)
        for variable in written:
            for never in machine.rules_on(variable):
                if all(
                    mask >> written[other] & 1 if other in written else not values[other] & ~mask
                    for other, mask in never
                ):
                    return False
    return True
