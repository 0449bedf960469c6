"""Random small procedures walked at random, each step held against the rules of ordering written down once more.

The rules here are a second reading of the design's words, in the plainest code there is; nothing of the program's own
ordering is used.
"""

from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.driving.script import Json, Script, intent, open_intent

VALUES = ("x", "y", "z")
VARIABLES = ("a", "b")

some_values = st.lists(st.sampled_from(VALUES), min_size=1, max_size=2, unique=True)
conditions = st.dictionaries(st.sampled_from(VARIABLES), some_values, max_size=2)
assignments = st.dictionaries(st.sampled_from(VARIABLES), st.sampled_from(VALUES), max_size=1)
writes = st.dictionaries(st.sampled_from(VARIABLES), st.sampled_from(VALUES), min_size=1, max_size=1)
rules = st.lists(st.fixed_dictionaries(dict.fromkeys(VARIABLES, some_values)).map(dict[str, list[str]]), max_size=2)


@dataclass
class Op:
    after: list[str]
    needs: dict[str, list[str]]
    during: dict[str, str]
    sets: dict[str, str]


@dataclass
class Made:
    """A procedure, as what its author meant and as text."""

    ops: dict[str, Op]
    moves: dict[str, tuple[dict[str, list[str]], dict[str, str]]]
    rules: list[dict[str, list[str]]]
    start: dict[str, str | None]

    @property
    def text(self) -> str:
        def flow(mapping: dict[str, str] | dict[str, list[str]]) -> str:
            inner = (f"{k}: {v}" if isinstance(v, str) else f"{k}: [{', '.join(v)}]" for k, v in mapping.items())
            return "{" + ", ".join(inner) + "}"

        lines = ["benchflow: 1", "id: random", "title: Random", "revision: '1'", "state:"]
        lines += [f"  {name}: {{values: [x, y, z], start: ask, ask: How?}}" for name in VARIABLES]
        if self.rules:
            lines += ["interference:", *(f"- {{never: {flow(rule)}, because: no}}" for rule in self.rules)]
        if self.moves:
            lines.append("moves:")
        for name, (needs, sets) in self.moves.items():
            lines.append(f"  {name}: {{title: {name}, {f'needs: {flow(needs)}, ' if needs else ''}sets: {flow(sets)}}}")
        lines += ["sections:", "- title: All", "  operations:"]
        for name, op in self.ops.items():
            parts = [f"id: {name}", f"title: {name}"]
            parts += [f"after: [{', '.join(op.after)}]"] if op.after else []
            for key, mapping in (("needs", op.needs), ("during", op.during), ("sets", op.sets)):
                parts += [f"{key}: {flow(mapping)}"] if mapping else []
            lines.append("  - {" + ", ".join(parts) + "}")
        return "\n".join(lines) + "\n"


@dataclass
class World:
    """How it stands, by the design's words alone."""

    made: Made
    values: dict[str, str | None]
    done: set[str] = field(default_factory=set)
    in_progress: str | None = None

    def forbidden(self, written: dict[str, str]) -> bool:
        values = {**self.values, **written}
        return any(
            all(values[name] is None or values[name] in never for name, never in rule.items())
            for rule in self.made.rules
        )

    def stands(self, needs: dict[str, list[str]]) -> bool:
        return all(self.values[name] in wanted for name, wanted in needs.items())

    def may_take_up(self, name: str) -> bool:
        op = self.made.ops[name]
        free = self.in_progress is None and name not in self.done and set(op.after) <= self.done
        return free and self.stands(op.needs) and not self.forbidden(op.during) and not self.forbidden(op.sets)

    def may_move(self, name: str) -> bool:
        needs, sets = self.made.moves[name]
        return self.in_progress is None and self.stands(needs) and not self.forbidden(sets)

    def allows(self, kind: str, name: str) -> bool:
        if kind == "start":
            return self.may_take_up(name)
        if kind == "move":
            return self.may_move(name)
        held = self.in_progress == name
        return held and (kind == "finish" or not self.made.ops[name].during)

    def carry_out(self, kind: str, name: str) -> None:
        if kind == "start":
            self.in_progress = name
        elif kind == "move":
            self.values |= self.made.moves[name][1]
        else:
            self.in_progress = None
        if kind == "finish":
            self.done.add(name)
            self.values |= self.made.ops[name].sets


@st.composite
def procedures(draw: st.DrawFn) -> Made:
    names = [f"op{number}" for number in range(draw(st.integers(2, 5)))]
    ops = {
        name: Op(
            draw(st.lists(st.sampled_from(names[:index]), unique=True, max_size=2)) if index else [],
            draw(conditions),
            draw(assignments),
            draw(assignments),
        )
        for index, name in enumerate(names)
    }
    moves = {f"move{n}": (draw(conditions), draw(writes)) for n in range(draw(st.integers(0, 2)))}
    start = {name: draw(st.sampled_from((None, *VALUES))) for name in VARIABLES}
    return Made(ops, moves, draw(rules), start)


def wishes(made: Made) -> st.SearchStrategy[list[tuple[str, str]]]:
    """What somebody wants to do, one after the other, mostly whole operations."""
    operation = st.sampled_from(list(made.ops))
    acts = [
        operation.map(lambda name: [("start", name), ("finish", name)]),
        operation.map(lambda name: [("start", name), ("pause", name)]),
        st.tuples(st.sampled_from(["start", "finish", "pause"]), operation).map(lambda act: [act]),
    ]
    if made.moves:
        acts.append(st.sampled_from(list(made.moves)).map(lambda name: [("move", name)]))
    return st.lists(st.one_of(acts), max_size=15).map(lambda found: [each for act in found for each in act])


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_every_step_is_allowed_or_refused_as_the_design_says_and_no_order_passes_a_forbidden_configuration(
    data: st.DataObject,
) -> None:
    made = data.draw(procedures())
    asked = data.draw(wishes(made))
    world = World(made, dict(made.start))
    key = {"start": "operation", "finish": "operation", "pause": "operation", "move": "move"}
    with TemporaryDirectory() as folder:
        script = Script(Path(folder), made.text)
        script.do_all(open_intent(start=made.start))
        replies = script.send(*(intent(kind, **{key[kind]: name}) for kind, name in asked))
        for (kind, name), reply in zip(asked, replies, strict=True):
            assert reply["ok"] is world.allows(kind, name), (kind, name, reply)
            if reply["ok"]:
                world.carry_out(kind, name)
                if kind in ("finish", "move"):
                    sets = made.ops[name].sets if kind == "finish" else made.moves[name][1]
                    assert not (sets and world.forbidden({}))
        agree(script.query("status"), world)


def agree(status: Json, world: World) -> None:
    assert set(status["done"]) == world.done
    assert status["in_progress"] == world.in_progress
    assert status["state"] == world.values
    if world.in_progress is None:
        assert set(status["available"]) == {name for name in world.made.ops if world.may_take_up(name)}
        assert set(status["moves"]) == {name for name in world.made.moves if world.may_move(name)}
