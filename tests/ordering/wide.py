"""Makes wide invented procedures: many operations that use many two-valued states, with few `after` lines."""

import json
from random import Random
from typing import Any, Literal, get_args

from benchflow.procedure.model import Mark, Move, Operation, Procedure, Ref, Rule, Section, Variable

Kind = Literal["chain", "independent", "pairs", "ring", "moves", "tangled", "asked"]
KINDS: tuple[Kind, ...] = get_args(Kind)
"""How operations and states belong together:

``chain``: every operation comes after the one before it; each needs a state and sets another one.
``independent``: 20 states, each used by its own operations, in any order.
``pairs``: two states and a rule between them form a group; operations in any order.
``ring``: rules join each state with the next one, so all are one group; operations in any order.
``moves``: as ``ring``, but moves set the states and operations only need them.
``tangled``: operations need one state and set another one, at random, with `after` lines at random.
``asked``: as ``tangled``, and the start of every state is asked for.
"""


def wide_procedure(kind: Kind, operations: int = 300, states: int = 20, seed: int = 1) -> Procedure:
    """Make an invented procedure of one kind, with this number of operations and of states."""
    draw = Random(seed)
    names = [f"s{number}" for number in range(states)]
    start = None if kind == "asked" else "off"
    state = [Variable(name, ("off", "on"), start, mark=Mark(1, 1)) for name in names]
    rules: list[Rule] = []
    moves: list[Move] = []
    if kind == "pairs":
        rules = [_rule(first, second) for first, second in zip(names[::2], names[1::2], strict=False)]
    elif kind in ("ring", "moves"):
        rules = [_rule(first, second) for first, second in zip(names, [*names[1:], names[0]], strict=True)]
    elif kind in ("tangled", "asked"):
        rules = [_rule(*draw.sample(names, 3)) for _ in range(4)]
    if kind in ("moves", "pairs", "asked"):
        moves = [
            Move(f"{name}-{value}", f"Turn {name} {value}", sets={name: value}, mark=Mark(1, 1))
            for name in names
            for value in ("off", "on")
        ]
    made = [_operation(kind, number, names, draw) for number in range(operations)]
    return Procedure(
        id="wide",
        title="Wide, and invented",
        revision="1",
        state=tuple(state),
        interference=tuple(rules),
        moves=tuple(moves),
        sections=(Section("work", "Work", tuple(each.id for each in made)),),
        operations=tuple(made),
    )


def _rule(*names: str) -> Rule:
    return Rule(dict.fromkeys(names, ("on",)), "the parts would touch", Mark(1, 1))


def _operation(kind: Kind, number: int, names: list[str], draw: Random) -> Operation:
    own = names[number % len(names)]
    other = names[(number + 1) % len(names)]
    value = ("on", "off")[number // len(names) % 2]
    effect: dict[str, Any] = {}
    after: tuple[Ref, ...] = ()
    match kind:
        case "chain":
            after = (Ref(f"op{number - 1}"),) if number else ()
            effect = {"sets": {own: value}} | ({"needs": {other: (("off", "on")[value == "off"],)}})
        case "independent":
            effect = {"needs": {own: ("off", "on")}, "sets": {own: value}}
        case "pairs":
            effect = {"needs": {own: ("off",)}} if number % 3 else {"during": {own: "on"}}
        case "ring":
            effect = {"during": {own: "on"}} if number % 2 else {"needs": {own: ("off",)}}
        case "moves":
            effect = {"needs": {own: (value,)}}
        case "tangled" | "asked":
            first, second = draw.sample(names, 2)
            effect = {"sets": {first: draw.choice(("off", "on"))}}
            if draw.random() < 0.3:
                effect["needs"] = {second: (draw.choice(("off", "on")),)}
            if number and draw.random() < 0.5:
                after = (Ref(f"op{draw.randrange(number)}"),)
    return Operation(
        id=f"op{number}",
        title=f"Do {number}",
        section="work",
        number=number + 1,
        after=after,
        mark=Mark(1, 1),
        **effect,
    )


def wide_text(kind: Kind, operations: int = 300, states: int = 20, seed: int = 1) -> str:
    """The file of :func:`wide_procedure`, as JSON, which is YAML too."""
    made = wide_procedure(kind, operations, states, seed)
    work: list[dict[str, object]] = []
    for each in made.operations:
        members: dict[str, object] = {"id": each.id, "title": each.title}
        members |= {"after": [ref.name for ref in each.after]} if each.after else {}
        members |= {"needs": {name: list(values) for name, values in each.needs.items()}} if each.needs else {}
        members |= {"during": dict(each.during)} if each.during else {}
        members |= {"sets": dict(each.sets)} if each.sets else {}
        work.append(members)
    file: dict[str, object] = {"benchflow": 1, "id": made.id, "title": made.title, "revision": made.revision}
    file["state"] = {each.name: {"values": list(each.values), "start": each.start or "ask"} for each in made.state}
    if made.moves:
        file["moves"] = {each.id: {"title": each.title, "sets": dict(each.sets)} for each in made.moves}
    if made.interference:
        file["interference"] = [
            {"never": {name: list(values) for name, values in each.never.items()}, "because": each.because}
            for each in made.interference
        ]
    file["sections"] = [{"id": "work", "title": "Work", "operations": work}]
    return json.dumps(file, indent=1)
