"""The steps, moves and variables that a route to one operation can involve, and a quick test that there is no route."""

from collections.abc import Iterator

from benchflow.ordering.configuration import Configuration
from benchflow.ordering.interlock import forbidden, moves_of
from benchflow.procedure.model import Settings, Values
from benchflow.procedure.plan import Plan


class RelevantActions:
    """The steps, moves and variables that a route to the goal can involve.

    ``steps`` are the prerequisites of the goal, and the steps that set a relevant variable. ``moves`` are those that
    set a relevant variable. A variable is relevant if one of these steps needs it. It is also relevant if a rule names
    it together with a variable that they set. ``required`` are the steps that every route contains.
    """

    def __init__(self, plan: Plan, configuration: Configuration, goal: str) -> None:
        self.steps: set[str] = set()
        self.moves: set[str] = set()
        self.variables: set[str] = set()
        self._plan = plan
        self._goal = goal
        self._done = configuration.done
        self._valuation = configuration.valuation
        self._writing_steps: dict[str, list[str]] = {}
        self._writing_moves: dict[str, list[str]] = {}
        self._moves = moves_of(plan)
        for step_id, step in plan.steps.items():
            for variable in step.sets:
                self._writing_steps.setdefault(variable, []).append(step_id)
        for move_id, move in self._moves.items():
            for variable in move.sets:
                self._writing_moves.setdefault(variable, []).append(move_id)
        rules = plan.procedure.interference
        self._rules_on: dict[str, list[Values]] = {}
        for rule in rules:
            for variable in rule.never:
                self._rules_on.setdefault(variable, []).append(rule.never)

        self.required = {goal, *self._earlier(goal)}
        self._later = _steps_after(plan, goal) - self.required
        self._todo: list[str] = []
        self._add_step(goal)
        self._follow()
        for index in forbidden(plan, configuration.valuation):
            for variable in rules[index].never:
                self._add_variable(variable)
        self._follow()

    def out_of_reach(self) -> bool:
        """True if the goal certainly cannot be reached, even if each variable kept all its earlier values too.

        The test uses a sound over-approximation of the reachable values: "true" is proven, "false" proves nothing.
        """
        values = {name: {value} - {None} for name, value in self._valuation.items()}
        done = set(self._done)
        actions = [
            (name, s.after, s.needs, s.during, s.sets) for name, s in self._plan.steps.items() if name in self.steps
        ]
        actions += [(name, (), m.needs, m.during, m.sets) for name, m in self._moves.items() if name in self.moves]
        while True:
            waiting = []
            for action in actions:
                name, after, needs, during, sets = action
                if (
                    all(earlier in done for earlier in after)
                    and all(values[variable] & set(wanted) for variable, wanted in needs.items())
                    and not self._always_forbidden(values, during)
                    and not self._always_forbidden(values, sets)
                ):
                    done.add(name)
                    for variable, value in sets.items():
                        values[variable].add(value)
                else:
                    waiting.append(action)
            if self._goal in done:
                return False
            if len(waiting) == len(actions):
                return True
            actions = waiting

    def _always_forbidden(self, values: dict[str, set[str | None]], written: Settings) -> bool:
        return any(
            all(
                written[name] in wanted if name in written else values[name] <= set(wanted)
                for name, wanted in never.items()
            )
            for variable in written
            for never in self._rules_on.get(variable, ())
        )

    def _follow(self) -> None:
        while self._todo:
            step = self._plan.steps[self._todo.pop()]
            for earlier in step.after:
                self._add_step(earlier)
            self._conditions(step.needs, step.during, step.sets)

    def _add_step(self, step_id: str) -> None:
        if step_id not in self._done and step_id not in self.steps and step_id not in self._later:
            self.steps.add(step_id)
            self._todo.append(step_id)

    def _add_variable(self, variable: str) -> None:
        if variable in self.variables:
            return
        self.variables.add(variable)
        for step_id in self._writing_steps.get(variable, ()):
            self._add_step(step_id)
        for move_id in self._writing_moves.get(variable, ()):
            if move_id not in self.moves:
                self.moves.add(move_id)
                move = self._moves[move_id]
                self._conditions(move.needs, move.during, move.sets)

    def _conditions(self, needs: Values, during: Settings, sets: Settings) -> None:
        for variable in needs:
            self._add_variable(variable)
        for variable in (*during, *sets):
            for never in self._rules_on.get(variable, ()):
                for other in never:
                    self._add_variable(other)

    def _earlier(self, goal: str) -> Iterator[str]:
        seen = {goal}
        todo = [goal]
        while todo:
            for earlier in self._plan.steps[todo.pop()].after:
                if earlier not in self._done and earlier not in seen:
                    seen.add(earlier)
                    todo.append(earlier)
                    yield earlier


def _steps_after(plan: Plan, goal: str) -> set[str]:
    """All steps that come after the goal. They cannot be on a route to it."""
    followers: dict[str, list[str]] = {}
    for step_id, step in plan.steps.items():
        for earlier in step.after:
            followers.setdefault(earlier, []).append(step_id)
    later: set[str] = set()
    todo = [goal]
    while todo:
        for step_id in followers.get(todo.pop(), ()):
            if step_id not in later and step_id != goal:
                later.add(step_id)
                todo.append(step_id)
    return later
