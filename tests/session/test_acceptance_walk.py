"""Random actions on small random procedures, compared with a second, simple implementation of the ordering rules.

The second implementation is independent of the program's own ordering.
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
class RandomOperation:
    after: list[str]
    needs: dict[str, list[str]]
    during: dict[str, str]
    sets: dict[str, str]


@dataclass
class RandomProcedure:
    """A random procedure, as data and as text."""

    ops: dict[str, RandomOperation]
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
class ExpectedState:
    """The state that the ordering rules give."""

    procedure: RandomProcedure
    values: dict[str, str | None]
    done: set[str] = field(default_factory=set)
    in_progress: str | None = None

    def forbidden(self, written: dict[str, str]) -> bool:
        values = {**self.values, **written}
        return any(
            all(values[name] is None or values[name] in never for name, never in rule.items())
            for rule in self.procedure.rules
        )

    def is_met(self, needs: dict[str, list[str]]) -> bool:
        return all(self.values[name] in wanted for name, wanted in needs.items())

    def can_start(self, name: str) -> bool:
        op = self.procedure.ops[name]
        free = self.in_progress is None and name not in self.done and set(op.after) <= self.done
        return free and self.is_met(op.needs) and not self.forbidden(op.during) and not self.forbidden(op.sets)

    def can_move(self, name: str) -> bool:
        needs, sets = self.procedure.moves[name]
        return self.in_progress is None and self.is_met(needs) and not self.forbidden(sets)

    def allows(self, kind: str, name: str) -> bool:
        if kind == "start":
            return self.can_start(name)
        if kind == "move":
            return self.can_move(name)
        is_in_progress = self.in_progress == name
        return is_in_progress and (kind == "finish" or not self.procedure.ops[name].during)

    def carry_out(self, kind: str, name: str) -> None:
        if kind == "start":
            self.in_progress = name
        elif kind == "move":
            self.values |= self.procedure.moves[name][1]
        else:
            self.in_progress = None
        if kind == "finish":
            self.done.add(name)
            self.values |= self.procedure.ops[name].sets


@st.composite
def procedures(draw: st.DrawFn) -> RandomProcedure:
    names = [f"op{number}" for number in range(draw(st.integers(2, 5)))]
    ops = {
        name: RandomOperation(
            draw(st.lists(st.sampled_from(names[:index]), unique=True, max_size=2)) if index else [],
            draw(conditions),
            draw(assignments),
            draw(assignments),
        )
        for index, name in enumerate(names)
    }
    moves = {f"move{n}": (draw(conditions), draw(writes)) for n in range(draw(st.integers(0, 2)))}
    start = {name: draw(st.sampled_from((None, *VALUES))) for name in VARIABLES}
    return RandomProcedure(ops, moves, draw(rules), start)


def random_actions(procedure: RandomProcedure) -> st.SearchStrategy[list[tuple[str, str]]]:
    """Random actions, mostly whole operations."""
    operation = st.sampled_from(list(procedure.ops))
    kinds_of_actions = [
        operation.map(lambda name: [("start", name), ("finish", name)]),
        operation.map(lambda name: [("start", name), ("pause", name)]),
        st.tuples(st.sampled_from(["start", "finish", "pause"]), operation).map(lambda action: [action]),
    ]
    if procedure.moves:
        kinds_of_actions.append(st.sampled_from(list(procedure.moves)).map(lambda name: [("move", name)]))
    return st.lists(st.one_of(kinds_of_actions), max_size=15).map(
        lambda found: [each for action in found for each in action]
    )


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_random_actions_are_allowed_exactly_when_the_ordering_rules_allow_them(
    data: st.DataObject,
) -> None:
    procedure = data.draw(procedures())
    actions = data.draw(random_actions(procedure))
    expected = ExpectedState(procedure, dict(procedure.start))
    key = {"start": "operation", "finish": "operation", "pause": "operation", "move": "move"}
    with TemporaryDirectory() as folder:
        script = Script(Path(folder), procedure.text)
        script.do_all(open_intent(start=procedure.start))
        replies = script.send(*(intent(kind, **{key[kind]: name}) for kind, name in actions))
        for (kind, name), reply in zip(actions, replies, strict=True):
            assert reply["ok"] is expected.allows(kind, name), (kind, name, reply)
            if reply["ok"]:
                expected.carry_out(kind, name)
                if kind in ("finish", "move"):
                    sets = procedure.ops[name].sets if kind == "finish" else procedure.moves[name][1]
                    assert not (sets and expected.forbidden({}))
        assert_status_agrees(script.query("status"), expected)


def assert_status_agrees(status: Json, expected: ExpectedState) -> None:
    assert set(status["done"]) == expected.done
    assert status["in_progress"] == expected.in_progress
    assert status["state"] == expected.values
    if expected.in_progress is None:
        assert set(status["available"]) == {name for name in expected.procedure.ops if expected.can_start(name)}
        assert set(status["moves"]) == {name for name in expected.procedure.moves if expected.can_move(name)}
