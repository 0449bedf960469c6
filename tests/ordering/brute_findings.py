"""Random procedures with findings, work if needed, repeated sections and states by place, and a game on each of them.

A procedure is drawn as plain data. It is written as the text of a file for the program, and played here from the same
data: no code of the program takes part. The builder chooses the actions. Whenever an operation that decides something
is done, the other player chooses what was found, or calls for the work that a remedy needs. A configuration is lost if
the builder cannot be sure to finish from it.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import combinations, product
from random import Random

PLACES = ("1", "2")
VALUES = ("a", "b")
OTHER = {"a": "b", "b": "a"}

Step = tuple[str, str]
"""An operation and its place; the place is "" for one that is not repeated."""


@dataclass
class Op:
    id: str
    section: int
    each: bool  # repeated over the places, by itself or by its section
    after: list[str] = field(default_factory=list)
    needs: dict[str, str] = field(default_factory=dict)
    during: dict[str, str] = field(default_factory=dict)
    sets: dict[str, str] = field(default_factory=dict)
    finding: bool = False  # its check `ID-ok` can be answered no, and decides
    when: tuple[str, str] | None = None  # (the operation of the finding, yes or no)
    calls: tuple[str, ...] = ()  # the operations that its remedy redoes
    opposite: bool = False  # at the second place, its `sets` has the other values
    by_reading: bool = False  # the remedy is one of a value with a reading at each place, and not of a check
    if_needed: bool = False
    in_order: bool = False


@dataclass
class Drawn:
    """A drawn procedure. A variable whose name begins with w is one for each place."""

    ops: list[Op]
    start: dict[str, str]  # of each author's variable, "" if it is asked for
    rules: list[dict[str, str]]
    moves: list[tuple[dict[str, str], dict[str, str]]]  # needs and sets, of variables without a place
    repeated_section: bool
    order: tuple[str, ...]
    one_by_one: bool


def draw(seed: int) -> Drawn:
    r = Random(seed)
    start = {name: r.choice(("a", "a", "")) for name in ("v0", "w0", "v1")[: r.randint(1, 3)]}
    plain = [name for name in start if name[0] == "v"]
    repeated_section = r.random() < 0.5
    ops: list[Op] = []
    count = r.randint(2, 4)
    for number in range(count):
        section = 1 if repeated_section and number >= count // 2 else 0
        each = section == 1 or r.random() < 0.4
        usable = list(start) if each else plain
        op = Op(f"op{number}", section, each)
        op.after = r.sample([one.id for one in ops], min(len(ops), r.choice((0, 1, 1))))
        if usable:
            for settings, chance in ((op.needs, 0.4), (op.during, 0.2), (op.sets, 0.4)):
                if r.random() < chance:
                    settings[r.choice(usable)] = r.choice(VALUES)
        op.in_order = each and section == 0 and r.random() < 0.3
        deciders = [one for one in ops if one.finding and (one.each == each or not one.each)]
        if deciders and r.random() < 0.7:
            op.when = (r.choice(deciders).id, r.choice(("yes", "no")))
        op.finding = r.random() < 0.5
        ops.append(op)
    caller = r.choice(ops)
    if r.random() < 0.5 and not caller.finding:
        by_reading = not caller.each and r.random() < 0.5
        called = Op("extra", caller.section, caller.each or by_reading, if_needed=True)
        called.in_order, called.opposite = by_reading and r.random() < 0.5, by_reading and r.random() < 0.5
        usable = list(start) if called.each else plain
        for settings in (called.needs, called.sets):
            if usable and r.random() < 0.6:
                settings[r.choice(usable)] = r.choice(VALUES)
        together = [called]
        if r.random() < 0.4:  # one remedy may call for two operations
            together.append(Op("more", caller.section, called.each, if_needed=True))
            together[1].after = [called.id] if r.random() < 0.7 else []
            for settings in (together[1].needs, together[1].sets):
                if usable and r.random() < 0.6:
                    settings[r.choice(usable)] = r.choice(VALUES)
        caller.calls, caller.sets, caller.by_reading = tuple(one.id for one in together), {}, by_reading
        others = [one for one in ops if one is not caller and one.section == caller.section and not one.finding]
        others = [one for one in others if one.each == caller.each]
        if others and r.random() < 0.4:  # two operations may call for the same work
            others[0].calls, others[0].sets, others[0].by_reading = caller.calls, {}, by_reading
        later = [one for one in ops if ops.index(one) > ops.index(caller) and one.section == caller.section]
        if later and r.random() < 0.5:
            later[-1].after.append(called.id)
        ops += together
    names = list(start)
    rules = [
        {name: r.choice(VALUES) for name in r.sample(names, min(2, len(names)))} for _ in range(r.choice((0, 1, 1)))
    ]
    moves = []
    if plain and r.random() < 0.6:
        moves.append(
            ({r.choice(plain): r.choice(VALUES)} if r.random() < 0.4 else {}, {r.choice(plain): r.choice(VALUES)})
        )
    order = tuple(r.sample(PLACES, 2)) if repeated_section and r.random() < 0.4 else ()
    return Drawn(ops, start, rules, moves, repeated_section, order, repeated_section and r.random() < 0.3)


# --- the text -----------------------------------------------------------------------------------------


def text_of(drawn: Drawn) -> str:
    lines = ["benchflow: 1", "id: drawn", "title: Drawn", "revision: A", "places: {p: ['1', '2']}", "state:"]
    for name, value in drawn.start.items():
        each = "each: p, " if name[0] == "w" else ""
        lines.append(f"  {name}: {{{each}values: [a, b], start: {value or 'ask'}}}")
    if drawn.rules:
        lines.append("interference:")
        lines += [f"- {{never: {_map(rule)}, because: x}}" for rule in drawn.rules]
    if drawn.moves:
        lines.append("moves:")
        lines += [
            f"  mv{n}: {{title: M, needs: {_map(needs)}, sets: {_map(sets)}}}"
            for n, (needs, sets) in enumerate(drawn.moves)
        ]
    lines.append("sections:")
    for section in (0, 1):
        ops = [op for op in drawn.ops if op.section == section]
        if not ops:
            continue
        lines.append(f"- title: S{section}")
        if section == 1:
            lines.append("  each: p")
            lines += [f"  order: [{', '.join(drawn.order)}]"] if drawn.order else []
            lines += ["  one-by-one: true"] if drawn.one_by_one else []
        lines.append("  operations:")
        lines += [f"  - {_operation(op)}" for op in ops]
    return "\n".join(lines) + "\n"


def _map(settings: dict[str, str]) -> str:
    return "{" + ", ".join(f"{name}: {value}" for name, value in settings.items()) + "}"


def _operation(op: Op) -> str:
    keys = [f"id: {op.id}", f"title: {op.id}"]
    keys += ["each: p"] if op.each and op.section == 0 else []
    keys += ["in-order: true"] if op.in_order else []
    keys += [f"after: [{', '.join(op.after)}]"] if op.after else []
    sets = op.sets
    if op.opposite:
        sets = {name: f"{{by: p, '1': {value}, '2': {OTHER[value]}}}" for name, value in sets.items()}
    keys += [
        f"{name}: {_map(each)}" for name, each in (("needs", op.needs), ("during", op.during), ("sets", sets)) if each
    ]
    keys += [f"when: {{{op.when[0]}-ok: '{op.when[1]}'}}"] if op.when else []
    keys += ["if-needed: true"] if op.if_needed else []
    if op.finding:
        keys.append(f"check: [{{see: ok, id: {op.id}-ok}}]")
    elif op.by_reading:
        remedy = f"{{do: it, redo: [{', '.join(op.calls)}]}}"
        keys.append(f"record: {{{op.id}-v: {{unit: mm, readings: p, limit: at most 1 mm, above: [{remedy}]}}}}")
    elif op.calls:
        keys.append(f"check: [{{see: ok, if not: [{{do: it, redo: [{', '.join(op.calls)}]}}]}}]")
    return "{" + ", ".join(keys) + "}"


# --- the game -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Node:
    done: frozenset[Step]
    values: tuple[tuple[str, str], ...]
    found: frozenset[tuple[str, str, str]]  # (operation, place, answer)
    called: frozenset[Step]
    callers: frozenset[tuple[Step, str]]  # those whose remedy has called, with the place that it called for


class Game:
    """Everything that can happen. ``lost`` are the configurations from which the builder cannot be sure to finish."""

    def __init__(self, drawn: Drawn) -> None:
        self.drawn = drawn
        self.ops = {op.id: op for op in drawn.ops}
        self.steps = [(op.id, place) for op in drawn.ops for place in (PLACES if op.each else ("",))]
        self.origins: list[Node] = []
        self.has_forbidden_start = False
        self.breach = False
        for values in self._starts():
            if self._breaks(values):
                self.has_forbidden_start = True
            else:
                self.origins.append(
                    Node(frozenset(), tuple(sorted(values.items())), frozenset(), frozenset(), frozenset())
                )
        self.outcomes = self._explore()
        self.lost = set(self.outcomes) - self._won()

    def _starts(self) -> Iterator[dict[str, str]]:
        names = [name for name in self.drawn.start for name in self._variables(name)]
        domains = [
            VALUES if not self.drawn.start[name.partition("[")[0]] else (self.drawn.start[name.partition("[")[0]],)
            for name in names
        ]
        for chosen in product(*domains):
            yield dict(zip(names, chosen, strict=True))

    def _variables(self, name: str) -> list[str]:
        return [f"{name}[{place}]" for place in PLACES] if name[0] == "w" else [name]

    def _at(self, settings: dict[str, str], place: str) -> dict[str, str]:
        return {f"{name}[{place}]" if name[0] == "w" else name: value for name, value in settings.items()}

    def _breaks(self, values: dict[str, str]) -> bool:
        for rule in self.drawn.rules:
            for place in PLACES if any(name[0] == "w" for name in rule) else ("",):
                if all(values[name] == value for name, value in self._at(rule, place).items()):
                    return True
        return False

    # the order

    def _direct(self, step: Step, node: Node) -> list[Step]:
        """What a step comes after by its own lines."""
        op, place = self.ops[step[0]], step[1]
        names = [*op.after, *([op.when[0]] if op.when else [])]
        found = [(name, at) for name in names for at in self._places(name, place)]
        found += [(name, at) for caller, at in node.callers if caller == step for name in op.calls]
        return found

    def _places(self, name: str, place: str) -> tuple[str, ...]:
        if not self.ops[name].each:
            return ("",)
        return (place,) if place else PLACES

    def _state_of(self, step: Step, node: Node) -> str:
        """``in``, ``out`` or ``open``: if a step is part of the build."""
        op = self.ops[step[0]]
        if op.if_needed:
            return "in" if step in node.called else "out"
        if op.when is None:
            return "in"
        decider = op.when[0], step[1] if self.ops[op.when[0]].each else ""
        known = {(name, at): answer for name, at, answer in node.found}
        if decider in known:
            return "in" if known[decider] == op.when[1] else "out"
        return "out" if self._state_of(decider, node) == "out" else "open"

    def _satisfied(self, step: Step, node: Node) -> bool:
        """True if nothing has to wait for a step."""
        state = self._state_of(step, node)
        if state == "out":
            return all(self._satisfied(one, node) for one in self._direct(step, node))
        return state == "in" and step in node.done

    def _added(self, step: Step, node: Node) -> Iterator[Step]:
        """What a step comes after by the order of the places: present steps at the places before."""
        op, place = self.ops[step[0]], step[1]
        if op.in_order:
            yield from ((op.id, at) for at in PLACES[: PLACES.index(place)])
        if op.section == 1:
            order = self.drawn.order or PLACES
            earlier = order[: order.index(place)]
            if self.drawn.order:
                yield from ((op.id, at) for at in earlier)
            if self.drawn.one_by_one:
                yield from ((one.id, at) for one in self.drawn.ops if one.section == 1 for at in earlier)

    def _ready(self, step: Step, node: Node) -> bool:
        if step in node.done or self._state_of(step, node) != "in":
            return False
        if not all(self._satisfied(one, node) for one in self._direct(step, node)):
            return False
        return all(self._satisfied(one, node) for one in self._added(step, node))

    # the actions

    def _explore(self) -> dict[Node, list[list[Node]]]:
        """For each configuration the actions, each with the configurations that it may lead to."""
        found: dict[Node, list[list[Node]]] = {}
        queue = deque(self.origins)
        while queue:
            node = queue.popleft()
            if node in found:
                continue
            found[node] = list(self._actions(node))
            queue.extend(after for outcomes in found[node] for after in outcomes)
        return found

    def _actions(self, node: Node) -> Iterator[list[Node]]:
        values = dict(node.values)
        for step in self.steps:
            op, place = self.ops[step[0]], step[1]
            if not self._ready(step, node):
                continue
            if any(values[name] != value for name, value in self._at(op.needs, place).items()):
                continue
            sets = op.sets
            if op.opposite and place == PLACES[1]:
                sets = {name: OTHER[value] for name, value in sets.items()}
            then = {**values, **self._at(sets, place)}
            if self._breaks({**values, **self._at(op.during, place)}) or self._breaks(then):
                self.breach = True
                continue
            done, after = node.done | {step}, tuple(sorted(then.items()))
            if op.finding:
                yield [
                    Node(done, after, node.found | {(*step, answer)}, node.called, node.callers)
                    for answer in ("yes", "no")
                ]
                continue
            outcomes = [Node(done, after, node.found, node.called, node.callers)]
            for out in self._calls(op, place, node) if op.calls else ():
                # what was done for another call is done once more
                extra = {(name, at) for name in op.calls for at in out}
                called, callers = node.called | extra, node.callers | {(step, at) for at in out}
                outcomes.append(Node(node.done - extra, node.values, node.found, called, callers))
            yield outcomes
        for needs, sets in self.drawn.moves:
            if any(values[name] != value for name, value in needs.items()):
                continue
            then = {**values, **sets}
            if self._breaks(then):
                self.breach = True
            else:
                yield [Node(node.done, tuple(sorted(then.items())), node.found, node.called, node.callers)]

    def _calls(self, op: Op, place: str, node: Node) -> list[tuple[str, ...]]:
        """The places that a remedy can call for next: its own, or those of one or more readings that are out."""
        left = [at for at in (PLACES if op.by_reading else (place,)) if ((op.id, place), at) not in node.callers]
        return [out for count in range(1, len(left) + 1) for out in combinations(left, count)]

    def _finished(self, node: Node) -> bool:
        return all(step in node.done or self._state_of(step, node) == "out" for step in self.steps)

    def _won(self) -> set[Node]:
        won = {node for node in self.outcomes if self._finished(node)}
        while True:
            more = {
                node
                for node, actions in self.outcomes.items()
                if node not in won and any(all(after in won for after in outcomes) for outcomes in actions)
            }
            if not more:
                return won
            won |= more
