"""Small plans for tests, built in code as an author would write them."""

from collections.abc import Mapping, Sequence

from benchflow.procedure.model import (
    Move,
    Operation,
    Option,
    Procedure,
    Ref,
    Rule,
    Section,
    Settings,
    Undo,
    Values,
    Variable,
)
from benchflow.procedure.plan import Plan, Step, TimeWindow

Wanted = Mapping[str, str | Sequence[str]]


def values(wanted: Wanted | None) -> Values:
    return {name: (value,) if isinstance(value, str) else tuple(value) for name, value in (wanted or {}).items()}


def variable(name: str, *domain: str, start: str | None = None, words: dict[str, str] | None = None) -> Variable:
    """A state variable. It starts at its first value, or at ``start``. A ``start`` of "?" is asked for."""
    return Variable(name, domain, None if start == "?" else start or domain[0], words=words or {})


def rule(because: str = "they touch", **never: str | Sequence[str]) -> Rule:
    return Rule(values(never), because)


def move(name: str, sets: Settings, needs: Wanted | None = None) -> Move:
    return Move(name, name.replace("-", " ").capitalize(), needs=values(needs), sets=sets)


def step(
    name: str,
    *after: str,
    needs: Wanted | None = None,
    during: Settings | None = None,
    sets: Settings | None = None,
    time: Sequence[TimeWindow] = (),
    takes: float = 0.0,
    undo: Undo | None = None,
    undo_needs: Wanted | None = None,
) -> Step:
    given = tuple(dict.fromkeys([*after, *(window.operation for window in time)]))
    return Step(
        id=name,
        operation=Operation(
            id=name,
            title=name.replace("-", " ").capitalize(),
            section="work",
            number=1,
            after=tuple(Ref(reference) for reference in after),
            needs=values(needs),
            during=during or {},
            sets=sets or {},
            undo=undo,
        ),
        place=None,
        after=given,
        needs=values(needs),
        during=during or {},
        sets=sets or {},
        time=tuple(time),
        takes=takes,
        undo_needs=values(undo_needs) if undo_needs else (undo.needs if undo else {}),
        undo_sets=undo.sets if undo else {},
    )


def plan(
    *steps: Step,
    state: Sequence[Variable] = (),
    rules: Sequence[Rule] = (),
    moves: Sequence[Move] = (),
    options: Mapping[str, str] | None = None,
) -> Plan:
    """A plan with a procedure that has the same operations."""
    return Plan(
        procedure=procedure(*(each.operation for each in steps), state=state, rules=rules, moves=moves),
        options=dict(options or {}),
        steps={each.id: each for each in steps},
    )


def procedure(
    *operations: Operation,
    state: Sequence[Variable] = (),
    rules: Sequence[Rule] = (),
    moves: Sequence[Move] = (),
    options: Sequence[Option] = (),
    places: Mapping[str, tuple[str, ...]] | None = None,
) -> Procedure:
    return Procedure(
        id="invented",
        title="Invented for a test",
        revision="1",
        options=tuple(options),
        places=dict(places or {}),
        state=tuple(state),
        interference=tuple(rules),
        moves=tuple(moves),
        sections=(Section("work", "Work", tuple(each.id for each in operations)),),
        operations=tuple(operations),
    )


def within(operation: str, seconds: float | None, *, wait: float | None = None) -> TimeWindow:
    return TimeWindow(operation, wait, seconds, f"{wait} .. {seconds} s")


def valve_plan() -> Plan:
    """A small plan with the pistons and valves of an interference engine."""
    return plan(
        step("fit-head"),
        step("seat-cam", "fit-head", during={"valves": "open"}, sets={"cam": "seated"}),
        step("time-cam", "seat-cam", needs={"cam": "seated", "pistons": "at-deck"}, sets={"cam": "timed"}),
        state=[
            variable("pistons", "at-deck", "down", start="?", words={"at-deck": "at the deck"}),
            variable("valves", "shut", "open"),
            variable("cam", "out", "seated", "timed"),
        ],
        rules=[rule("an open valve would reach them", pistons="at-deck", valves="open")],
        moves=[
            move("turn-crank-down", {"pistons": "down"}),
            move("turn-crank-up", {"pistons": "at-deck"}, needs={"cam": ["out", "seated"]}),
        ],
    )
