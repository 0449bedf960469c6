"""The order of one build as data: states and their values, moves, operations, prerequisites, rules.

:func:`order_graph` makes it from a plan. ``after`` leaves out prerequisites that others imply (transitive reduction).
:func:`grouped_operations` combines the repeats of an ``each`` for display. ``order_graph_text`` and ``order_graph_svg``
render the graph.
"""

import re
from collections.abc import Iterable, Sequence

from msgspec import Struct

from benchflow.ordering.configuration import Valuation
from benchflow.ordering.interlock import moves_of
from benchflow.ordering.proof.partial_order import PartialOrder
from benchflow.ordering.state_machine import bits, closure
from benchflow.ordering.wording import condition_text
from benchflow.procedure.identity import parts
from benchflow.procedure.model import Rule, Settings, Values
from benchflow.procedure.placeholders import PLACEHOLDER
from benchflow.procedure.plan import Plan, Step


class GraphWindow(Struct, frozen=True):
    """Limits on the time since ``operation`` was last finished, in seconds.

    The operation does not start before ``low`` and is finished before ``high``.
    """

    operation: str
    low: float | None
    high: float | None
    text: str


class GraphOperation(Struct, frozen=True):
    """A step of the build.

    ``number`` is the number shown at the bench. ``after`` and the operations of ``windows`` are step ids. ``rules`` are
    indices into :attr:`OrderGraph.rules`. They are the rules that name a value set by this step. ``sign`` is the role
    of the person who signs. ``takes`` is the minimum duration in seconds (0 if not given).
    """

    id: str
    number: int
    title: str
    section: str
    place: str | None
    after: tuple[str, ...]
    needs: Values
    during: Settings
    sets: Settings
    windows: tuple[GraphWindow, ...]
    rules: tuple[int, ...]
    sign: str
    takes: float
    because: str
    condition: str = ""  # on what it depends if the step is done


class GraphMove(Struct, frozen=True):
    """A move of the build. ``letter`` is its label in text and picture: A, B, ... Z, AA, ..."""

    id: str
    letter: str
    title: str
    needs: Values
    during: Settings
    sets: Settings
    rules: tuple[int, ...]


class GraphValue(Struct, frozen=True):
    """A value of a variable.

    ``words`` is its text. ``operations`` and ``moves`` set it. ``held`` are the operations that have it in `during`.
    """

    value: str
    words: str
    at_start: bool
    operations: tuple[str, ...]
    moves: tuple[str, ...]
    held: tuple[str, ...]


class GraphState(Struct, frozen=True):
    """A state variable. ``start`` is ``None`` if it may start at any value."""

    name: str
    title: str
    start: str | None
    values: tuple[GraphValue, ...]


class GraphRule(Struct, frozen=True):
    """Values that must never occur together, and the operations and moves that set one of them."""

    never: Values
    because: str
    operations: tuple[str, ...]
    moves: tuple[str, ...]


class GraphSection(Struct, frozen=True):
    """A section with the step ids of its operations."""

    id: str
    title: str
    operations: tuple[str, ...]


class OrderGraph(Struct, frozen=True):
    """The order of one build. Sections without an operation of this build are left out.

    Each entry of ``cycles`` lists step ids that wait for each other. A build with a cycle has no safe order.
    """

    procedure: str
    title: str
    revision: str
    notice: str
    options: dict[str, str]
    states: tuple[GraphState, ...]
    moves: tuple[GraphMove, ...]
    sections: tuple[GraphSection, ...]
    operations: tuple[GraphOperation, ...]
    rules: tuple[GraphRule, ...]
    cycles: tuple[tuple[str, ...], ...]


def order_graph(plan: Plan, start: Valuation) -> OrderGraph:
    """Make the graph of a plan. ``start`` holds the start values known so far, by variable."""
    procedure = plan.procedure
    order = PartialOrder(plan)
    reduced = reduced_after(order.after, order.before, order.blocked)
    operations = tuple(
        _operation(plan, step, number, tuple(order.steps[i] for i in bits(reduced[number - 1])))
        for number, step in enumerate(plan.steps.values(), 1)
    )
    moves = tuple(
        GraphMove(
            move.id,
            move_letter(index),
            move.title or move.id,
            move.needs,
            move.during,
            move.sets,
            _rules(plan, move.during, move.sets),
        )
        for index, move in enumerate(moves_of(plan).values())
    )
    return OrderGraph(
        procedure=procedure.id,
        title=procedure.title,
        revision=procedure.revision,
        notice=procedure.notice,
        options=dict(plan.options),
        states=tuple(_states(plan, start)),
        moves=moves,
        sections=tuple(_sections(plan)),
        operations=operations,
        rules=tuple(_rule(rule, index, operations, moves) for index, rule in enumerate(procedure.interference)),
        cycles=tuple(tuple(order.steps[i] for i in cycle) for cycle in order.cycles),
    )


def reduced_after(after: Sequence[int], before: Sequence[int], blocked: int) -> list[int]:
    """The transitive reduction of ``after``: without the prerequisites that other prerequisites imply.

    ``after`` and its transitive closure ``before`` hold a bit mask for each step. Steps in ``blocked`` (by a cycle)
    keep all their prerequisites, because in a cycle every one implies every other.
    """
    reduced = []
    for index, direct in enumerate(after):
        implied = 0
        if not blocked >> index & 1:
            for earlier in bits(direct):
                implied |= before[earlier]
        reduced.append(direct & ~implied)
    return reduced


def move_letter(index: int) -> str:
    """The label of the move with this index: A, B, ... Z, AA, AB, ..."""
    name = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def _operation(plan: Plan, step: Step, number: int, after: tuple[str, ...]) -> GraphOperation:
    operation = step.operation
    return GraphOperation(
        id=step.id,
        number=number,
        title=step.title or step.id,
        section=operation.section,
        place=step.place,
        after=after,
        needs=step.needs,
        during=step.during,
        sets=step.sets,
        windows=tuple(GraphWindow(w.operation, w.low, w.high, w.text) for w in step.time),
        rules=_rules(plan, step.during, step.sets),
        sign=operation.hold.signer if operation.hold else "",
        takes=step.takes,
        because=operation.because,
        condition=condition_text(plan, step),
    )


def _rules(plan: Plan, *written: Settings) -> tuple[int, ...]:
    """The indices of the rules that name one of the values."""
    return tuple(
        index
        for index, rule in enumerate(plan.procedure.interference)
        if any(settings.get(name) in values for settings in written for name, values in rule.never.items())
    )


def _rule(rule: Rule, index: int, operations: Iterable[GraphOperation], moves: Iterable[GraphMove]) -> GraphRule:
    return GraphRule(
        rule.never,
        rule.because,
        tuple(each.id for each in operations if index in each.rules),
        tuple(each.id for each in moves if index in each.rules),
    )


def _states(plan: Plan, start: Valuation) -> Iterable[GraphState]:
    moves = moves_of(plan)
    for variable in plan.procedure.state:
        start_value = variable.start if variable.start is not None else start.get(variable.name)
        values = tuple(
            GraphValue(
                value,
                variable.words.get(value, value),
                start_value in (None, value),
                tuple(step.id for step in plan.steps.values() if step.sets.get(variable.name) == value),
                tuple(move.id for move in moves.values() if move.sets.get(variable.name) == value),
                tuple(step.id for step in plan.steps.values() if step.during.get(variable.name) == value),
            )
            for value in variable.values
        )
        yield GraphState(variable.name, variable.title or variable.name.replace("-", " "), start_value, values)


def _sections(plan: Plan) -> Iterable[GraphSection]:
    for section in plan.procedure.sections:
        operations = tuple(step.id for step in plan.steps.values() if step.operation.section == section.id)
        if operations:
            yield GraphSection(section.id, section.title or section.id, operations)


# --- repeats combined -------------------------------------------------------------------------------


class GroupEdge(Struct, frozen=True):
    """A prerequisite of a group.

    ``group`` is the index of the group that comes first. ``by_place`` is true if each place waits only for the same
    place of that group.
    """

    group: int
    by_place: bool = False


class OperationGroup(Struct, frozen=True):
    """Steps shown as one: the repeats of an ``each``, or a single step. ``first`` represents them all.

    ``title`` names the places ("Seat the intake / exhaust cam"); ``numbers`` is ``4`` or ``4–7``.
    """

    first: GraphOperation
    steps: tuple[str, ...]
    numbers: str
    title: str
    after: tuple[GroupEdge, ...]
    order: tuple[str, ...] = ()  # the places in the order in which they are done; () for any


def grouped_operations(plan: Plan, graph: OrderGraph) -> tuple[OperationGroup, ...]:
    """The operations of a graph with repeats combined, in the author's order and with ``after`` reduced again.

    Repeats stay separate if they alternate with another operation, because then neither group is completely first.
    """
    together: dict[str, list[GraphOperation]] = {}
    for each in graph.operations:
        together.setdefault(plan.steps[each.id].operation.id, []).append(each)
    members = [part for group in together.values() for part in _without_own_states(plan, group)]
    after = _group_prerequisites(members)
    alternating = [index for index, mask in enumerate(closure(after)) if mask >> index & 1]
    if any(len(members[index]) > 1 for index in alternating):
        members = [
            part
            for i, group in enumerate(members)
            for part in ([[one] for one in group] if i in alternating else [group])
        ]
        after = _group_prerequisites(members)
    before = closure(after)
    blocked = sum(1 << i for i, mask in enumerate(before) if any(before[j] >> j & 1 for j in (*bits(mask), i)))
    reduced = reduced_after(after, before, blocked)
    return tuple(
        OperationGroup(
            group[0],
            tuple(one.id for one in group),
            f"{group[0].number}–{group[-1].number}" if len(group) > 1 else str(group[0].number),
            _title(plan, group),
            tuple(GroupEdge(earlier, _waits_by_place(group, members[earlier])) for earlier in bits(mask)),
            _order_of_places(group),
        )
        for group, mask in zip(members, reduced, strict=True)
    )


def _without_own_states(plan: Plan, group: list[GraphOperation]) -> list[list[GraphOperation]]:
    """The repeats of an operation as one group, or one by one if they use a state of their own place."""
    families = {variable.name for variable in plan.procedure.state if variable.family}
    own = any(not families.isdisjoint({*one.needs, *one.during, *one.sets}) for one in group)
    return [[one] for one in group] if own else [group]


def _order_of_places(group: Sequence[GraphOperation]) -> tuple[str, ...]:
    """The places of a group in their order, if each comes after another one; ``()`` if any order is possible."""
    ids = {one.id for one in group}
    inside = {one.id: {name for name in one.after if name in ids} for one in group}
    found: list[GraphOperation] = []
    while len(found) < len(group):
        done = {one.id for one in found}
        ready = [one for one in group if one.id not in done and inside[one.id] <= done]
        if len(ready) != 1:
            return ()
        found += ready
    return tuple(str(one.place) for one in found) if len(group) > 1 else ()


def _group_prerequisites(members: Sequence[Sequence[GraphOperation]]) -> list[int]:
    """For each group, the bit mask of the other groups that contain a prerequisite of one of its steps."""
    group_of = {one.id: index for index, group in enumerate(members) for one in group}
    return [
        sum({1 << group_of[earlier] for one in group for earlier in one.after if group_of[earlier] != index})
        for index, group in enumerate(members)
    ]


def _waits_by_place(group: Sequence[GraphOperation], earlier: Sequence[GraphOperation]) -> bool:
    if len(group) < 2 or len(earlier) < 2:
        return False
    place_of = {one.id: one.place for one in earlier}
    return all([place_of[name] for name in one.after if name in place_of] == [one.place] for one in group)


def _listed(places: Sequence[str]) -> str:
    return " / ".join(places) if len(places) <= 4 else f"{places[0]} … {places[-1]}"


def _title(plan: Plan, group: Sequence[GraphOperation]) -> str:
    if len(group) == 1:
        return group[0].title
    operation = plan.steps[group[0].id].operation
    places = [str(one.place) for one in group]
    named = _listed(places)
    raw = plan.procedure.operations_by_id[operation.id].title
    sets = parts(operation.each)

    def filled(found: re.Match[str]) -> str:
        word = found[1]
        if word not in sets:
            return found[0][0] if word is None else found[0]
        return _listed(list(dict.fromkeys(parts(place)[sets.index(word)] for place in places)))

    title = PLACEHOLDER.sub(filled, raw)
    return title[:1].upper() + title[1:] if title != raw else f"{raw or operation.id} ({named})"
