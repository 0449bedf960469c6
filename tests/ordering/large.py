"""Makes large invented procedures with the structure of real ones.

Each has several assemblies. An assembly has a shaft that is turned and a guard that is open only while an operation is
in progress. It has parts that are seated and then tightened, and repeated adjustments.
"""

from random import Random

from benchflow.procedure.model import (
    Mark,
    Move,
    Operation,
    Option,
    Procedure,
    Ref,
    Rule,
    Section,
    Settings,
    Values,
    Variable,
)

PARTS = 4
"""The number of parts of one assembly. With its position and its guard, an assembly has six variables."""
PLACES = ("1", "2", "3", "4", "5", "6", "7", "8", "9")
STATELESS = 9
"""The number of operations of one assembly that use no state."""
OPERATIONS_PER_ASSEMBLY = STATELESS + 2 * PARTS + 1 + 1 + len(PLACES) + 1


def large_procedure(operations: int, seed: int = 1) -> Procedure:
    """A sound procedure of about this number of operations, counting each repeat of an `each`.

    Its assemblies have :data:`OPERATIONS_PER_ASSEMBLY` operations each, and some wait for others. The only findings are
    `redundant-after` notes.
    """
    draw = Random(seed)
    made: list[Operation] = []
    state: list[Variable] = []
    rules: list[Rule] = []
    moves: list[Move] = []
    sections: list[Section] = []
    ends: list[str] = []
    for number in range(max(1, round(operations / OPERATIONS_PER_ASSEMBLY))):
        name = f"a{number}"
        earlier = draw.sample(ends, min(len(ends), draw.choice((0, 1, 2))))
        state += _variables(name)
        rules.append(
            Rule(
                {f"{name}-position": ("up",), f"{name}-guard": ("open",)},
                "the shaft would hit the guard",
                Mark(1, 1),
            )
        )
        moves += [
            Move(f"{name}-turn-{at}", f"Turn {name} {at}", sets={f"{name}-position": at}, mark=Mark(1, 1))
            for at in ("up", "down")
        ]
        work = _work(name, earlier, draw)
        made += work
        sections.append(Section(name, name, tuple(each.id for each in work)))
        ends.append(work[-1].id)
    return Procedure(
        id="large",
        title="Large, and invented",
        revision="1",
        options=(Option("kind", "Which?", ("plain", "heavy")),),
        places={"place": PLACES},
        state=tuple(state),
        interference=tuple(rules),
        moves=tuple(moves),
        sections=tuple(sections),
        operations=tuple(made),
    )


def _variables(name: str) -> list[Variable]:
    return [
        Variable(f"{name}-position", ("down", "up"), None),
        Variable(f"{name}-guard", ("shut", "open"), "shut"),
        *(Variable(f"{name}-part-{i}", ("out", "seated", "tight"), "out") for i in range(PARTS)),
    ]


def _work(name: str, earlier: list[str], draw: Random) -> list[Operation]:
    made: list[Operation] = []

    def add(
        step: str,
        after: list[str],
        needs: Values | None = None,
        during: Settings | None = None,
        sets: Settings | None = None,
        each: str | None = None,
        when: Values | None = None,
    ) -> str:
        ident = f"{name}-{step}"
        made.append(
            Operation(
                id=ident,
                title=step,
                section=name,
                number=1,
                when=when or {},
                each=each,
                after=tuple(Ref(other, Mark(1, 1)) for other in after),
                needs=needs or {},
                during=during or {},
                sets=sets or {},
                mark=Mark(1, 1),
            )
        )
        return ident

    ready = [add("clean-0", earlier)]
    for i in range(1, STATELESS):
        ready.append(add(f"clean-{i}", [draw.choice(ready)]))
    tight = []
    for i in range(PARTS):
        part = f"{name}-part-{i}"
        seated = add(
            f"seat-{i}",
            [draw.choice(ready)],
            {f"{name}-position": ("down",)},
            {f"{name}-guard": "open"},
            {part: "seated"},
        )
        tight.append(add(f"tighten-{i}", [seated], {part: ("seated",)}, None, {part: "tight"}))
    extra = add("extra", tight[:1], when={"kind": ("heavy",)})
    up: Values = {f"{name}-position": ("up",)}
    adjust = add("adjust", [*tight, extra], up, each="place")
    add("check", [ready[-1]])
    parts: Values = {f"{name}-part-{i}": ("tight",) for i in range(PARTS)}
    add("cover", [adjust, f"{name}-check", *ready[1:]], {f"{name}-position": ("down",), **parts})
    return made
