"""What can be proven of a part that is too wide to explore: by what may stand at each step's turn, and no more.

When a step may be taken up by the order, a variable can only stand at its start value (unless something before the
step writes it), at what a move writes, or at what a step writes that does not come after this one and after which,
before this step, nothing must write it again. That is more than the order really allows, so that what holds of all
of it holds.
"""

from collections.abc import Iterator, Sequence

from msgspec import Struct

from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.state_machine import BLOCKED, StateMachine, bits

_MOST_VALUATIONS = 20_000


class Approximation(Struct, frozen=True):
    """``no_breach``: no order passes a forbidden configuration, on paper. ``free``: from however the part may stand,
    every step that the order lets come next can be done, after some moves perhaps."""

    no_breach: bool
    free: bool
    looked_at: int = 0


def approximate(part: VariableGroup) -> Approximation:
    valuations = _valuations(part)
    if valuations is None:
        return Approximation(no_breach=False, free=False)
    return Approximation(not _any_breach(part, valuations), _is_free(part, valuations), len(valuations))


def _valuations(part: VariableGroup) -> list[int] | None:
    """All that steps and moves could ever bring about if they came in any order, again and again."""
    machine = part.machine
    seen = list(part.starts)
    known = set(seen)
    effects = sorted({machine.effect_of[step] for step in bits(part.all)})
    for valuation in seen:  # grows while it is walked
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


def _any_breach(part: VariableGroup, valuations: Sequence[int]) -> bool:
    machine = part.machine
    for effect in machine.move_effects:
        for valuation in valuations:
            if machine.meets(valuation, effect) and machine.breach(valuation, effect, is_move=True):
                return True
    for step, effect in enumerate(machine.effect_of):
        if part.waiting >> step & 1:
            continue
        for valuation in _at_turn(part, valuations, step, part.on_paper[step]):
            if machine.meets(valuation, effect) and machine.breach(valuation, effect):
                return True
    return False


def _is_free(part: VariableGroup, valuations: Sequence[int]) -> bool:
    machine = part.machine
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
    for step in bits(part.all):
        effect = machine.effect_of[step]
        if effect not in able:
            able[effect] = _leading_to({v for v in valuations if machine.step(v, effect) != BLOCKED}, into)
        if any(v not in able[effect] for v in _at_turn(part, valuations, step, part.before[step])):
            return False
    return True


def _leading_to(there: set[int], into: dict[int, list[int]]) -> set[int]:
    """Where moves alone lead into one of these."""
    todo = list(there)
    for valuation in todo:  # grows while it is walked
        for earlier in into.get(valuation, ()):
            if earlier not in there:
                there.add(earlier)
                todo.append(earlier)
    return there


def _at_turn(part: VariableGroup, valuations: Sequence[int], step: int, before: int) -> Iterator[int]:
    """The valuations that may stand when everything ``before`` the step is done and the step is not."""
    masks = _possible(part, step, before)
    for valuation in valuations:
        if all(mask >> value & 1 for mask, value in zip(masks, part.machine.values(valuation), strict=True)):
            yield valuation


def _possible(part: VariableGroup, step: int, before: int) -> list[int]:
    """By variable, a mask of the values that may stand at the step's turn."""
    machine = part.machine
    masks = [0] * len(machine.variables)
    written_before = [0] * len(machine.variables)  # by variable, the steps before this one that write it
    for other in bits(before):
        for variable, _ in machine.effects[machine.effect_of[other]].sets:
            written_before[variable] |= 1 << other
    for start in part.starts:
        for variable, value in enumerate(machine.values(start)):
            if not written_before[variable]:
                masks[variable] |= 1 << value
    for effect in machine.move_effects:
        for variable, value in machine.effects[effect].sets:
            masks[variable] |= 1 << value
    for other in bits(part.all & ~(1 << step)):
        if part.before[other] >> step & 1:
            continue
        for variable, value in machine.effects[machine.effect_of[other]].sets:
            again = written_before[variable]
            if not any(part.before[later] >> other & 1 for later in bits(again)):
                masks[variable] |= 1 << value
    return masks


def surely_stuck(part: VariableGroup, done: int, valuation: int) -> bool:
    """Whether some step can never be done any more even if whatever a variable has once stood at could be had again at
    any time. The other answer proves nothing."""
    machine = part.machine
    values = [1 << value for value in machine.values(valuation)]
    left = part.all & ~done
    moves = set(machine.move_effects)
    while left:
        possible = [effect for effect in moves if _may_be(machine, effect, values)]
        moves.difference_update(possible)
        for step in bits(left):
            if not part.before[step] & left and _may_be(machine, machine.effect_of[step], values):
                left ^= 1 << step
                possible.append(machine.effect_of[step])
        for effect in possible:
            for variable, value in machine.effects[effect].sets:
                values[variable] |= 1 << value
        if not possible:
            return True
    return False


def _may_be(machine: StateMachine, effect: int, values: Sequence[int]) -> bool:
    needs, during, sets = machine.effects[effect]
    if any(not values[variable] & mask for variable, mask in needs):
        return False
    for part in (during, sets):
        written = dict(part)
        for variable in written:
            for never in machine.rules_on(variable):
                if all(
                    mask >> written[other] & 1 if other in written else not values[other] & ~mask
                    for other, mask in never
                ):
                    return False
    return True
