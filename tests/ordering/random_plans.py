"""Random small procedures, to compare fast algorithms with brute force."""

import os
from itertools import product
from random import Random

from hypothesis import strategies as st

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
    Undo,
    Values,
    Variable,
)
from benchflow.procedure.plan import Plan, Step

EXAMPLES = int(os.environ.get("BENCHFLOW_EXAMPLES", "0"))
"""The least number of examples of every random test, from the environment. 0 leaves the usual number."""


def examples(usual: int) -> int:
    """The number of examples for a random test: the usual number, or :data:`EXAMPLES` if that is more."""
    return max(EXAMPLES, usual)


@st.composite
def random_procedures(
    draw: st.DrawFn,
    *,
    most_operations: int = 6,
    most_variables: int = 3,
    with_options: bool = True,
    with_cycles: bool = False,
    with_undo: bool = False,
    one_variable_each: bool = False,
) -> Procedure:
    """A hypothesis strategy for random procedures, with up to two options, two moves and two rules.

    Without ``with_cycles`` each `after` names only earlier operations. With ``one_variable_each`` an operation uses
    only one variable.
    """
    names = [f"v{i}" for i in range(draw(st.integers(1, most_variables)))]
    domains = {name: tuple("abc"[: draw(st.integers(2, 3))]) for name in names}
    state = tuple(Variable(name, domain, draw(st.sampled_from([*domain, None]))) for name, domain in domains.items())

    def settings(most: int, names: list[str] = names) -> st.SearchStrategy[Settings]:
        return st.lists(st.sampled_from(names), max_size=most, unique=True).flatmap(
            lambda chosen: st.fixed_dictionaries({n: st.sampled_from(domains[n]) for n in chosen})
        )

    def wanted(most: int, least: int = 0, names: list[str] = names) -> st.SearchStrategy[Values]:
        return st.lists(st.sampled_from(names), min_size=min(least, len(names)), max_size=most, unique=True).flatmap(
            lambda chosen: st.fixed_dictionaries(
                {
                    n: st.lists(
                        st.sampled_from(domains[n]),
                        min_size=1,
                        max_size=len(domains[n]) - 1,
                        unique=True,
                    ).map(tuple)
                    for n in chosen
                }
            )
        )

    options = tuple(Option(f"o{i}", "?", ("x", "y")) for i in range(draw(st.integers(0, 2)))) if with_options else ()

    def when() -> st.SearchStrategy[Values]:
        if not options:
            return st.just({})
        return st.one_of(
            st.just({}),
            st.just({}),
            st.fixed_dictionaries({draw(st.sampled_from(options)).name: st.sampled_from([("x",), ("y",)])}),
        )

    def undo() -> st.SearchStrategy[Undo | None]:
        part = st.sampled_from([(), (), (Ref("gasket"),)])
        some = st.builds(
            Undo, do=st.just("Take it off"), needs=st.one_of(st.just({}), wanted(1)), discard=part, sets=settings(1)
        )
        return st.one_of(some, some, some, some, some, some, some, st.none())

    operations: list[Operation] = []
    count = draw(st.integers(1, most_operations))
    for number in range(count):
        near = range(count) if with_cycles else range(number)
        earlier = [f"op{i}" for i in near if i != number]
        after = draw(st.lists(st.sampled_from(earlier), max_size=2)) if earlier else []
        own_variables = [draw(st.sampled_from(names))] if one_variable_each else names
        operations.append(
            Operation(
                id=f"op{number}",
                title=f"Do {number}",
                section="work",
                number=number + 1,
                when=draw(when()),
                after=tuple(Ref(name, Mark(number + 1, i + 1)) for i, name in enumerate(after)),
                needs=draw(st.one_of(st.just({}), wanted(1, 0, own_variables))),
                during=draw(st.one_of(st.just({}), settings(1, own_variables))),
                sets=draw(settings(2, own_variables)),
                undo=draw(undo()) if with_undo else None,
                mark=Mark(number + 1, 1),
            )
        )

    def some_during() -> st.SearchStrategy[Settings]:
        return st.one_of(st.just({}), st.just({}), settings(1))

    rules = tuple(Rule(draw(wanted(2, 2)), "they touch", Mark(100 + i, 1)) for i in range(draw(st.integers(0, 2))))
    moves = tuple(
        Move(
            f"mv{i}",
            f"Turn {i}",
            when=draw(when()),
            needs=draw(wanted(1)),
            sets=draw(settings(1)),
            during=draw(some_during()),
        )
        for i in range(draw(st.integers(0, 2)))
    )
    return Procedure(
        id="random",
        title="Random",
        revision="1",
        options=options,
        state=state,
        interference=rules,
        moves=moves,
        sections=(Section("work", "Work", tuple(each.id for each in operations)),),
        operations=tuple(operations),
    )


def plans_of(procedure: Procedure) -> list[Plan]:
    """One plan for every choice of options, without `each` and references to sections."""
    found = []
    for chosen in product(*(option.choices for option in procedure.options)):
        options = {option.name: take for option, take in zip(procedure.options, chosen, strict=True)}
        here = [
            each for each in procedure.operations if all(options[name] in wanted for name, wanted in each.when.items())
        ]
        names = {each.id for each in here}
        steps = {
            each.id: Step(
                id=each.id,
                operation=each,
                place=None,
                after=tuple(_through_what_is_left_out(each, names, procedure)),
                needs=each.needs,
                during=each.during,
                sets=each.sets,
                time=(),
                takes=0.0,
                undo_needs=each.undo.needs if each.undo else {},
                undo_sets=each.undo.sets if each.undo else {},
            )
            for each in here
        }
        found.append(Plan(procedure, options, steps))
    return found


def _through_what_is_left_out(operation: Operation, built: set[str], procedure: Procedure) -> dict[str, None]:
    """The prerequisites of an operation. Each one that is not built is replaced by its own, until all are built."""
    names = [ref.name for ref in operation.after]
    replaced: set[str] = set()
    while left_out := [name for name in names if name not in built]:
        here = left_out[0]
        at = names.index(here)
        own = [] if here in replaced else [ref.name for ref in procedure.operations_by_id[here].after]
        names[at : at + 1] = own
        replaced.add(here)
    return dict.fromkeys(names)


def plan_of_waiting_groups(seed: int) -> Plan:
    """A random plan whose groups of variables often wait for each other, so they cannot be explored separately."""
    draw = Random(seed)
    names = [f"v{i}" for i in range(draw.choice((2, 2, 3)))]
    domain = ("a", "b", "c")
    state = tuple(Variable(name, domain, draw.choice(("a", "a", "a", None))) for name in names)
    operations = []
    for number in range(draw.randint(4, 8)):
        own_variable = draw.choice(names)
        needs: Values = (
            {own_variable: tuple(draw.sample(domain, draw.choice((1, 1, 2))))} if draw.random() < 0.6 else {}
        )
        sets: Settings = {own_variable: draw.choice(domain)} if draw.random() < 0.6 else {}
        earlier = [f"op{i}" for i in range(number)]
        after = draw.sample(earlier, min(len(earlier), draw.choice((0, 0, 1, 1, 2))))
        operations.append(
            Operation(
                id=f"op{number}",
                title=f"Do {number}",
                section="work",
                number=number + 1,
                after=tuple(Ref(name) for name in after),
                needs=needs,
                sets=sets,
            )
        )
    draw.shuffle(operations)
    moves = tuple(
        Move(f"mv{i}", f"Turn {i}", needs={} if draw.random() < 0.5 else {n: (draw.choice(domain),)}, sets={n: v})
        for i, (n, v) in enumerate((draw.choice(names), draw.choice(domain)) for _ in range(draw.randint(0, 4)))
    )
    procedure = Procedure(
        id="waiting-groups",
        title="Groups that wait for each other",
        revision="1",
        state=state,
        moves=moves,
        sections=(Section("work", "Work", tuple(each.id for each in operations)),),
        operations=tuple(operations),
    )
    (plan,) = plans_of(procedure)
    return plan
