"""The meaning of ordering as a brute force that shares no code with what it checks.

A configuration is ``(frozenset of done ids, tuple of (variable, value) pairs)``. Every configuration is visited, one at
a time; nothing is projected, masked or grouped.
"""

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from itertools import product

from benchflow.procedure.model import Move, Procedure
from benchflow.procedure.plan import Plan

Standing = tuple[tuple[str, str | None], ...]
Place = tuple[frozenset[str], Standing]
Action = tuple[str, str]
"""("operation", id) or ("move", id)."""


def standing(values: Mapping[str, str | None]) -> Standing:
    return tuple(sorted(values.items()))


def breaks_a_rule(procedure: Procedure, values: Mapping[str, str | None]) -> bool:
    for rule in procedure.interference:
        hits = 0
        for name, forbidden in rule.never.items():
            if values[name] is None or values[name] in forbidden:
                hits += 1
        if hits == len(rule.never):
            return True
    return False


def moves(plan: Plan) -> list[Move]:
    return [m for m in plan.procedure.moves if all(plan.options[name] in ok for name, ok in m.when.items())]


def starts(procedure: Procedure) -> Iterator[dict[str, str]]:
    domains = [v.values if v.start is None else (v.start,) for v in procedure.state]
    for combination in product(*domains):
        yield {v.name: value for v, value in zip(procedure.state, combination, strict=True)}


def tries(plan: Plan, place: Place) -> Iterator[tuple[Action, Place, bool]]:
    """Everything that prerequisites and needs allow here: the action, where it leads, whether a rule
    matches on the way or at its end."""
    done, pairs = place
    values = dict(pairs)
    for step in plan.steps.values():
        if step.id in done or any(name not in done for name in step.after):
            continue
        if any(values[name] not in wanted for name, wanted in step.needs.items()):
            continue
        meanwhile = {**values, **step.during}
        finally_ = {**values, **step.sets}
        bad = breaks_a_rule(plan.procedure, meanwhile) or breaks_a_rule(plan.procedure, finally_)
        yield ("operation", step.id), (done | {step.id}, standing(finally_)), bad
    for each in moves(plan):
        if any(values[name] not in wanted for name, wanted in each.needs.items()):
            continue
        finally_ = {**values, **each.sets}
        yield ("move", each.id), (done, standing(finally_)), breaks_a_rule(plan.procedure, finally_)


def safe(plan: Plan, place: Place) -> Iterator[tuple[Action, Place]]:
    for action, after, bad in tries(plan, place):
        if not bad:
            yield action, after


def distances(plan: Plan, origins: Sequence[Place]) -> dict[Place, int]:
    """Every configuration that can be reached with the interlock on, and in how many steps."""
    found = dict.fromkeys(origins, 0)
    queue = deque(found)
    while queue:
        place = queue.popleft()
        for _, after in safe(plan, place):
            if after not in found:
                found[after] = found[place] + 1
                queue.append(after)
    return found


def shortest_to(plan: Plan, place: Place, goal: str) -> int | None:
    """How many safe steps it takes up to and including the goal."""
    reached = distances(plan, [place])
    return min((far for (done, _), far in reached.items() if goal in done), default=None)


def replays(plan: Plan, place: Place, actions: Sequence[Action]) -> Place | None:
    """Where the actions lead, or ``None`` when one of them may not be done at its turn."""
    for wanted in actions:
        for action, after in safe(plan, place):
            if action == wanted:
                place = after
                break
        else:
            return None
    return place


class Verdicts:
    """What holds of one plan, by the words of the table and nothing else.

    ``dead_end`` and ``breach`` are the fewest steps of a witness, or ``None``. Starts that a rule forbids are
    a finding of their own, and nothing is opened from them.
    """

    def __init__(self, plan: Plan) -> None:
        everything = frozenset(plan.steps)
        all_starts = list(starts(plan.procedure))
        self.forbidden_starts = [s for s in all_starts if breaks_a_rule(plan.procedure, s)]
        self.origins: list[Place] = [(frozenset(), standing(s)) for s in all_starts if s not in self.forbidden_starts]
        self.reached = distances(plan, self.origins)
        into: dict[Place, list[Place]] = {}
        breaches = []
        for place, far in self.reached.items():
            for _, after, bad in tries(plan, place):
                if bad:
                    breaches.append(far + 1)
                else:
                    into.setdefault(after, []).append(place)
        self.finishable = {place for place in self.reached if place[0] == everything}
        queue = deque(self.finishable)
        while queue:
            for earlier in into.get(queue.popleft(), ()):
                if earlier not in self.finishable:
                    self.finishable.add(earlier)
                    queue.append(earlier)
        dead = [far for place, far in self.reached.items() if place not in self.finishable]
        self.dead_end = min(dead, default=None)
        self.breach = min(breaches, default=None)
        self.unreachable = everything - frozenset(name for done, _ in self.reached for name in done)

    def useful_moves(self, plan: Plan) -> set[str]:
        """The moves that can be made somewhere and change something there."""
        return {
            name
            for place in self.reached
            for (kind, name), after in safe(plan, place)
            if kind == "move" and after != place
        }
