"""Sound over-approximation for variable groups too large to explore.

When the order allows a step to start, a variable can have only these values: its start value, unless an earlier step
writes it; a value that a move writes; a value that another step writes. That other step must not come after this one,
and no step between the two in the order may overwrite the value. These are more valuations than real orders can reach.
A statement that is true for all of them is therefore proven.
"""

from collections.abc import Iterator, Sequence

from msgspec import Struct

from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.state_machine import BLOCKED, StateMachine, bits

_MOST_VALUATIONS = 20_000


class Approximation(Struct, frozen=True):
    """The facts proven about a group.

    ``no_breach`` is true if no order breaks a rule, even without the interlock. ``free`` is true if every step that the
    order allows next can be done, if necessary after moves. ``searched`` is the number of valuations checked.
    """

    no_breach: bool
    free: bool
    searched: int = 0


def approximate(group: VariableGroup) -> Approximation:
    """The facts about the group that can be proven without exploring it."""
    valuations = _valuations(group)
    if valuations is None:
        return Approximation(no_breach=False, free=False)
    return Approximation(not _any_breach(group, valuations), _is_free(group, valuations), len(valuations))


def _valuations(group: VariableGroup) -> list[int] | None:
    """Every valuation that steps and moves can reach, in any order and repeated; ``None`` if there are too many."""
    machine = group.machine
    seen = list(group.starts)
    known = set(seen)
    effects = sorted({machine.effect_of[step] for step in bits(group.all)})
    for valuation in seen:  # the list grows during the loop
        for then in (
            *(machine.step(valuation, effect) for effect in effects),
            *(machine.move(valuation, number) for number in range(len(machine.moves))),
        ):
            if then != BLOCKED and then not in known:
                known.add(then)
                seen.append(then)
        if len(seen) > _MOST_VALUATIONS:
            return None
    return seen


def _any_breach(group: VariableGroup, valuations: Sequence[int]) -> bool:
    machine = group.machine
    for effect in machine.move_effects:
        for valuation in valuations:
            if machine.meets(valuation, effect) and machine.breach(valuation, effect, is_move=True):
                return True
    for step, effect in enumerate(machine.effect_of):
        if group.waiting >> step & 1:
            continue
        for valuation in _valuations_at(group, valuations, step, group.on_paper[step]):
            if machine.meets(valuation, effect) and machine.breach(valuation, effect):
                return True
    return False


def _is_free(group: VariableGroup, valuations: Sequence[int]) -> bool:
    machine = group.machine
    moved = {
        valuation: [
            then for n in range(len(machine.moves)) if (then := machine.move(valuation, n)) not in (BLOCKED, valuation)
        ]
        for valuation in valuations
    }
    into: dict[int, list[int]] = {}
    for valuation, thens in moved.items():
        for then in thens:
            into.setdefault(then, []).append(valuation)
    able: dict[int, set[int]] = {}
    for step in bits(group.all):
        effect = machine.effect_of[step]
        if effect not in able:
            able[effect] = _extended_by_moves({v for v in valuations if machine.step(v, effect) != BLOCKED}, into)
        if any(v not in able[effect] for v in _valuations_at(group, valuations, step, group.before[step])):
            return False
    return True


def _extended_by_moves(targets: set[int], into: dict[int, list[int]]) -> set[int]:
    """Add to ``targets`` every valuation from which moves alone lead to one of them, and return it."""
    todo = list(targets)
    for valuation in todo:  # the list grows during the loop
        for earlier in into.get(valuation, ()):
            if earlier not in targets:
                targets.add(earlier)
                todo.append(earlier)
    return targets


def _valuations_at(group: VariableGroup, valuations: Sequence[int], step: int, before: int) -> Iterator[int]:
    """The valuations possible when everything ``before`` the step is done and the step is not."""
    masks = _possible_values(group, step, before)
    for valuation in valuations:
        if all(mask >> value & 1 for mask, value in zip(masks, group.machine.values(valuation), strict=True)):
            yield valuation


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
    while left:
        possible = [effect for effect in moves if _may_be_done(machine, effect, values)]
        moves.difference_update(possible)
        for step in bits(left):
            if not group.before[step] & left and _may_be_done(machine, machine.effect_of[step], values):
                left ^= 1 << step
                possible.append(machine.effect_of[step])
        for effect in possible:
            for variable, value in machine.effects[effect].sets:
                values[variable] |= 1 << value
        if not possible:
            return True
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
