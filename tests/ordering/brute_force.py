"""A brute-force search over all configurations, to check the route search and the proof.

It shares no code with them. A configuration is ``(frozenset of done ids, tuple of (variable, value) pairs)``. Every
configuration is visited one by one, without any reduction.
"""

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from itertools import product

from benchflow.procedure.model import Move, Procedure
from benchflow.procedure.plan import Plan

ValuePairs = tuple[tuple[str, str | None], ...]
Node = tuple[frozenset[str], ValuePairs]
Action = tuple[str, str]
"""("operation", id) or ("move", id)."""
Edges = dict[Node, list[tuple[Action, Node, bool]]]
"""For each configuration, its actions as :func:`allowed_on_paper` gives them."""


def value_pairs(values: Mapping[str, str | None]) -> ValuePairs:
    return tuple(sorted(values.items()))


def breaks_a_rule(procedure: Procedure, values: Mapping[str, str | None]) -> bool:
    for rule in procedure.interference:
        for name, forbidden in rule.never.items():
            value = values[name]
            if value is not None and value not in forbidden:
                break
        else:
            return True
    return False


def moves(plan: Plan) -> list[Move]:
    return [m for m in plan.procedure.moves if all(plan.options[name] in ok for name, ok in m.when.items())]


def starts(procedure: Procedure) -> Iterator[dict[str, str]]:
    domains = [v.values if v.start is None else (v.start,) for v in procedure.state]
    for combination in product(*domains):
        yield {v.name: value for v, value in zip(procedure.state, combination, strict=True)}


def allowed_on_paper(plan: Plan, node: Node) -> Iterator[tuple[Action, Node, bool]]:
    """Every action that prerequisites and needs allow, as (action, node after it, true if it breaks a rule)."""
    done, pairs = node
    values = dict(pairs)
    for step in plan.steps.values():
        if step.id in done or not done.issuperset(step.after):
            continue
        if step.needs and any(values[name] not in wanted for name, wanted in step.needs.items()):
            continue
        meanwhile = {**values, **step.during}
        afterwards = {**values, **step.sets}
        breaks = breaks_a_rule(plan.procedure, meanwhile)
        breaks = breaks or (afterwards != meanwhile and breaks_a_rule(plan.procedure, afterwards))
        yield ("operation", step.id), (done | {step.id}, value_pairs(afterwards)), breaks
    for each in moves(plan):
        if any(values[name] not in wanted for name, wanted in each.needs.items()):
            continue
        meanwhile, afterwards = {**values, **each.during}, {**values, **each.sets}
        breaks = breaks_a_rule(plan.procedure, afterwards)
        breaks = breaks or (bool(each.during) and breaks_a_rule(plan.procedure, meanwhile))
        yield ("move", each.id), (done, value_pairs(afterwards)), breaks


def allowed_actions(plan: Plan, node: Node) -> Iterator[tuple[Action, Node]]:
    for action, after, breaks in allowed_on_paper(plan, node):
        if not breaks:
            yield action, after


def explored(plan: Plan, origins: Sequence[Node]) -> tuple[dict[Node, int], Edges]:
    """Every configuration that can be reached with the interlock on, with its distance from the start in actions, and
    the actions that prerequisites and needs allow in each."""
    found = dict.fromkeys(origins, 0)
    edges: Edges = {}
    queue = deque(found)
    while queue:
        node = queue.popleft()
        edges[node] = list(allowed_on_paper(plan, node))
        for _, after, breaks in edges[node]:
            if not breaks and after not in found:
                found[after] = found[node] + 1
                queue.append(after)
    return found, edges


def distances(plan: Plan, origins: Sequence[Node]) -> dict[Node, int]:
    """The configurations of :func:`explored`, with their distances."""
    return explored(plan, origins)[0]


def shortest_to(plan: Plan, node: Node, goal: str) -> int | None:
    """The length of a shortest safe route to the goal, including the goal; ``None`` if there is none."""
    reached = distances(plan, [node])
    return min((distance for (done, _), distance in reached.items() if goal in done), default=None)


def replay(plan: Plan, node: Node, actions: Sequence[Action]) -> Node | None:
    """The node after the actions; ``None`` if one of them is not allowed when its turn comes."""
    for wanted in actions:
        for action, after in allowed_actions(plan, node):
            if action == wanted:
                node = after
                break
        else:
            return None
    return node


class Verdicts:
    """The verdicts on one plan, computed directly from their definitions.

    ``dead_end`` and ``breach`` are the length of a shortest witness, or ``None``. Orders from a forbidden start are
    left out.
    """

    def __init__(self, plan: Plan) -> None:
        everything = frozenset(plan.steps)
        all_starts = list(starts(plan.procedure))
        self.forbidden_starts = [s for s in all_starts if breaks_a_rule(plan.procedure, s)]
        self.origins: list[Node] = [(frozenset(), value_pairs(s)) for s in all_starts if s not in self.forbidden_starts]
        self.reached, self.edges = explored(plan, self.origins)
        into: dict[Node, list[Node]] = {}
        breaches = []
        for node, distance in self.reached.items():
            for _, after, breaks in self.edges[node]:
                if breaks:
                    breaches.append(distance + 1)
                else:
                    into.setdefault(after, []).append(node)
        self.finishable = {node for node in self.reached if node[0] == everything}
        queue = deque(self.finishable)
        while queue:
            for earlier in into.get(queue.popleft(), ()):
                if earlier not in self.finishable:
                    self.finishable.add(earlier)
                    queue.append(earlier)
        dead = [distance for node, distance in self.reached.items() if node not in self.finishable]
        self.dead_end = min(dead, default=None)
        self.breach = min(breaches, default=None)
        self.unreachable = everything - frozenset(name for done, _ in self.reached for name in done)

    def useful_moves(self) -> set[str]:
        """The moves that are allowed in some reachable configuration and change it."""
        return {
            name
            for node in self.reached
            for (kind, name), after, breaks in self.edges[node]
            if kind == "move" and not breaks and after != node
        }
