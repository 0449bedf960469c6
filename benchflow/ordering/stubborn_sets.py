"""Strong stubborn sets: of the steps and moves that are possible, a few that are enough.

What is left out can still be done afterwards, to the same end and in no more steps: the set holds a step that has
to be done anyway; for each of its members that may be done now, everything that it could hinder or be hindered by;
for each that may not, everything that one condition which it lacks can come from. (A. Valmari: StubbornSets sets for
reduced state space generation, 1991; for shortest plans M. Wehrle, M. Helmert: About partial order reduction in
planning and computer aided verification, 2012. From memory.)
"""

from collections.abc import Sequence

from benchflow.ordering.state_machine import BLOCKED, Effect, StateMachine, bits


class StubbornSets:
    """Steps are numbered from 0, moves after them; ``gate`` is what has to be done before each step."""

    def __init__(self, machine: StateMachine, gate: Sequence[int]) -> None:
        self._machine = machine
        self._gate = gate
        self._steps = len(machine.steps)
        self._effects = [*machine.effect_of, *machine.move_effects]
        count = len(machine.variables)
        self._writing = [0] * count  # by variable, the actions that write it
        self._writing_value: list[dict[int, int]] = [{} for _ in range(count)]
        reading = [0] * count
        reads = [self._reads(effect) for effect in machine.effects]
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

    def of(self, done: int, valuation: int, required: int) -> tuple[int, int]:
        """(steps, moves) that are possible and enough, as masks. ``required`` are steps that must be done yet."""
        everything = (1 << len(self._effects)) - 1
        if self._machine.standing(valuation) or not required:
            return self._possible(everything & ~done, done, valuation)
        members = todo = self._seed(done, required)
        possible = 0
        while todo:
            low = todo & -todo
            todo ^= low
            action = low.bit_length() - 1
            if self._is_possible(action, done, valuation):
                possible |= low
                more = self._interfering[self._effects[action]]
            else:
                more = self._enabling(action, done, valuation)
            more &= ~members & ~done
            members |= more
            todo |= more
        return possible & (1 << self._steps) - 1, possible >> self._steps

    def _seed(self, done: int, required: int) -> int:
        """A step that must be done yet: one whose turn it is, where there is one."""
        for step in bits(required):
            if not self._gate[step] & ~done:
                return 1 << step
        return required & -required

    def _possible(self, actions: int, done: int, valuation: int) -> tuple[int, int]:
        found = sum(1 << action for action in bits(actions) if self._is_possible(action, done, valuation))
        return found & (1 << self._steps) - 1, found >> self._steps

    def _is_possible(self, action: int, done: int, valuation: int) -> bool:
        if action >= self._steps:
            return self._machine.move(valuation, action - self._steps) != BLOCKED
        return not self._gate[action] & ~done and self._machine.step(valuation, self._effects[action]) != BLOCKED

    def _enabling(self, action: int, done: int, valuation: int) -> int:
        """Everything that can bring about one condition that the action lacks: nothing else can come before it."""
        machine = self._machine
        if action < self._steps:
            missing = self._gate[action] & ~done
            if missing:
                return missing & -missing
        effect = self._effects[action]
        values = machine.values(valuation)
        for variable, mask in machine.effects[effect].needs:
            if not mask >> values[variable] & 1:
                return self.bringing(variable, mask)
        breach = machine.breach(valuation, effect, is_move=action >= self._steps)
        assert breach is not None, "an action that nothing stands against is possible"
        parts = machine.effects[effect]
        written = {variable for variable, _ in (parts.during if breach.moment == "during" else parts.sets)}
        found = 0
        for variable, never in machine.rule(breach.rule):
            if variable not in written:
                found |= self.bringing(variable, ~never)
        return found

    def bringing(self, variable: int, mask: int) -> int:
        """The actions that write one of these values, as a mask."""
        found = 0
        for value, actions in self._writing_value[variable].items():
            if mask >> value & 1:
                found |= actions
        return found

    def _reads(self, effect: Effect) -> set[int]:
        """The variables on whose values it depends whether the effect may be had."""
        machine = self._machine
        needs, during, sets = effect
        found = {variable for variable, _ in needs}
        for part in (during, sets):
            over = {variable for variable, _ in part}
            for variable in over:
                for never in machine.rules_on(variable):
                    found |= {other for other, _ in never} - over
        return found
