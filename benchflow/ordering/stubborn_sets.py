"""Strong stubborn sets: a subset of the allowed actions that suffices to find a shortest route.

An action outside the set can be done later, with the same result and no more actions. The set contains one required
step. For each member that is allowed now, it contains every action that interferes with the member. For each member
that is not, it contains every action that can provide one missing condition. Source: A. Valmari, Stubborn sets for
reduced state space generation, 1991; for shortest plans M. Wehrle and M. Helmert, About partial order reduction in
planning and computer aided verification, 2012. From memory.
"""

from collections.abc import Sequence

from benchflow.ordering.state_machine import BLOCKED, Effect, StateMachine, bits


class StubbornSets:
    """Computes stubborn sets of actions in a state machine.

    Actions are numbered: steps from 0, then moves. ``gate`` is a mask of prerequisites for each step.
    """

    def __init__(self, machine: StateMachine, gate: Sequence[int]) -> None:
        self._machine = machine
        self._gate = gate
        self._steps = len(machine.steps)
        self._effects = [*machine.effect_of, *machine.move_effects]
        count = len(machine.variables)
        self._writing = [0] * count  # for each variable, the actions that write it
        self._writing_value: list[dict[int, int]] = [{} for _ in range(count)]
        reading = [0] * count
        reads = [self._variables_read(effect) for effect in machine.effects]
        writes = [{variable for variable, _ in effect.sets} for effect in machine.effects]
        for action, effect in enumerate(self._effects):
            for variable in reads[effect]:
                reading[variable] |= 1 << action
            for variable, value in machine.effects[effect].sets:
                self._writing[variable] |= 1 << action
                by_value = self._writing_value[variable]
                by_value[value] = by_value.get(value, 0) | 1 << action
        self._interfering = [0] * len(machine.effects)
        for effect in range(len(machine.effects)):
            for variable in writes[effect]:
                self._interfering[effect] |= reading[variable] | self._writing[variable]
            for variable in reads[effect]:
                self._interfering[effect] |= self._writing[variable]

    def stubborn_set(self, done: int, valuation: int, required: int) -> tuple[int, int]:
        """The allowed actions of a stubborn set, as bit masks (steps, moves). ``required`` are the steps left to do."""
        everything = (1 << len(self._effects)) - 1
        if self._machine.broken_rules(valuation) or not required:
            return self._allowed(everything & ~done, done, valuation)
        members = todo = self._first_member(done, required)
        allowed = 0
        while todo:
            low = todo & -todo
            todo ^= low
            action = low.bit_length() - 1
            if self._is_allowed(action, done, valuation):
                allowed |= low
                more = self._interfering[self._effects[action]]
            else:
                more = self._enabling_actions(action, done, valuation)
            more &= ~members & ~done
            members |= more
            todo |= more
        return allowed & (1 << self._steps) - 1, allowed >> self._steps

    def _first_member(self, done: int, required: int) -> int:
        """The mask of one required step, if possible one whose prerequisites are done."""
        for step in bits(required):
            if not self._gate[step] & ~done:
                return 1 << step
        return required & -required

    def _allowed(self, actions: int, done: int, valuation: int) -> tuple[int, int]:
        found = sum(1 << action for action in bits(actions) if self._is_allowed(action, done, valuation))
        return found & (1 << self._steps) - 1, found >> self._steps

    def _is_allowed(self, action: int, done: int, valuation: int) -> bool:
        if action >= self._steps:
            return self._machine.move(valuation, action - self._steps) != BLOCKED
        return not self._gate[action] & ~done and self._machine.step(valuation, self._effects[action]) != BLOCKED

    def _enabling_actions(self, action: int, done: int, valuation: int) -> int:
        """The mask of the actions that can provide one missing condition of this action."""
        machine = self._machine
        if action < self._steps:
            missing = self._gate[action] & ~done
            if missing:
                return missing & -missing
        effect = self._effects[action]
        values = machine.values(valuation)
        for variable, mask in machine.effects[effect].needs:
            if not mask >> values[variable] & 1:
                return self.actions_setting(variable, mask)
        breach = machine.breach(valuation, effect, is_move=action >= self._steps)
        assert breach is not None, "an action without a missing condition is allowed"
        parts = machine.effects[effect]
        written = {variable for variable, _ in (parts.during if breach.phase == "during" else parts.sets)}
        found = 0
        for variable, never in machine.rule(breach.rule):
            if variable not in written:
                found |= self.actions_setting(variable, ~never)
        return found

    def actions_setting(self, variable: int, mask: int) -> int:
        """The mask of the actions that set the variable to one of the values in ``mask``."""
        found = 0
        for value, actions in self._writing_value[variable].items():
            if mask >> value & 1:
                found |= actions
        return found

    def _variables_read(self, effect: Effect) -> set[int]:
        """The variables whose values decide whether the effect is allowed."""
        machine = self._machine
        needs, during, sets = effect
        found = {variable for variable, _ in needs}
        for part in (during, sets):
            over = {variable for variable, _ in part}
            for variable in over:
                for never in machine.rules_on(variable):
                    found |= {other for other, _ in never} - over
        return found
