"""Completes a procedure after it was read: ids of sections, numbers, pairs of sets, a state variable for each place."""

import re
from collections.abc import Iterator, Mapping
from typing import TypeVar

from msgspec.structs import replace

from benchflow.procedure.identity import ALL_PLACES, StepId, joined, name_at, parts
from benchflow.procedure.keys.procedure_keys import UnnumberedProcedure, UnnumberedSection
from benchflow.procedure.model import Mark, Move, Operation, Procedure, Rule, Section, Values, Variable
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.written_copies import with_own_names

T = TypeVar("T")


def completed(written: UnnumberedProcedure, context: ReadContext) -> Procedure:
    """The procedure with everything that follows from what is written."""
    procedure = _numbered(written, context)
    procedure = replace(procedure, places=_with_pairs(procedure))
    _check_places_of_copies(procedure, context)
    return _with_variables_by_place(procedure, context)


# --- numbers and sections ---------------------------------------------------------------------------


def _numbered(written: UnnumberedProcedure, context: ReadContext) -> Procedure:
    """Add ids to sections and numbers to operations. Values without a decision rule get that of the procedure."""
    taken = {operation.id for section in written.sections for operation in section.operations}
    taken |= {section.id for section in written.sections if section.id}
    sections: list[Section] = []
    operations: list[Operation] = []
    for number, section in enumerate(written.sections, start=1):
        ident = section.id or _section_id(section, number, taken)
        for operation in section.operations:
            operation = _completed(operation, section, written, context)
            operations.append(_numbered_operation(operation, ident, len(operations) + 1))
        ids = tuple(operation.id for operation in section.operations)
        title = section.title or f"Section {number}"
        sections.append(Section(ident, title, ids, section.mark, section.each, section.order, section.one_by_one))
    return replace(written.procedure, sections=tuple(sections), operations=tuple(operations))


def _completed(
    operation: Operation, section: UnnumberedSection, written: UnnumberedProcedure, context: ReadContext
) -> Operation:
    """The operation and its variants with their decision rules, sets of places and findings."""
    options = {option.name for option in written.procedure.options}
    if operation.again is not None and not operation.id[:1].isalpha():
        message = f"`{operation.id}` is the beginning of the names of values, so it has to begin with a letter"
        context.problem("bad-name", operation.mark, message, "Rename it")
    variants = tuple(
        replace(one, operation=_completed(one.operation, section, written, context)) for one in operation.variants
    )
    operation = _in_section(_with_decision(with_own_names(operation, context), written), section, context)
    return replace(_with_findings(operation, options), variants=variants)


def _numbered_operation(operation: Operation, section: str, number: int) -> Operation:
    variants = tuple(
        replace(one, operation=_numbered_operation(one.operation, section, number)) for one in operation.variants
    )
    return replace(operation, section=section, number=number, variants=variants)


def _section_id(section: UnnumberedSection, number: int, taken: set[str]) -> str:
    """An id made from the title: lower case with dashes, and a number if that id is already in use."""
    slug = re.sub(r"[^a-z0-9]+", "-", section.title.lower()).strip("-") or f"section-{number}"
    ident, number = slug, 2
    while ident in taken:
        ident, number = f"{slug}-{number}", number + 1
    taken.add(ident)
    return ident


def _with_decision(operation: Operation, written: UnnumberedProcedure) -> Operation:
    decision = written.procedure.decision
    return replace(
        operation,
        record=tuple(value if value.decision else replace(value, decision=decision) for value in operation.record),
        work_out=tuple(value if value.decision else replace(value, decision=decision) for value in operation.work_out),
    )


def _in_section(operation: Operation, section: UnnumberedSection, context: ReadContext) -> Operation:
    """The operation with the sets of places over which it is repeated."""
    if section.each is None:
        return operation
    if operation.each == section.each:
        context.problem(
            "one-too-many",
            operation.mark,
            f"`{operation.id}` is repeated for each {section.each} already, because its section is",
            "Delete `each` here, or name another set of places",
        )
        return replace(operation, each=None, section_each=section.each)
    sets = [section.each, *([] if operation.each is None else [operation.each])]
    return replace(operation, each=joined(sets), section_each=section.each)


def _with_findings(operation: Operation, options: set[str]) -> Operation:
    """The operation whose `when` is divided into options and findings."""
    findings = {name: answers for name, answers in operation.when.items() if name not in options}
    if not findings:
        return operation
    return replace(
        operation, when={name: one for name, one in operation.when.items() if name in options}, findings=findings
    )


def _check_places_of_copies(procedure: Procedure, context: ReadContext) -> None:
    """Report a copy that is not repeated over the set that repeats the section of the other operation."""
    for copy in procedure.operations:
        original = None if copy.again is None else procedure.operations_by_id.get(copy.again.name)
        if original is None or original.section_each in (None, *parts(copy.each)):
            continue
        context.problem(
            "which-place",
            copy.mark,
            f"`{copy.id}` does `{original.id}` once more, which is repeated for each {original.section_each} by its "
            f"section, but `{copy.id}` is not",
            f"Write `each: {original.section_each}`, or put it in a section with that `each`",
        )


def _with_pairs(procedure: Procedure) -> dict[str, tuple[str, ...]]:
    """The sets of places, and the pair of sets of each operation with `each` in a section with `each`."""
    places = dict(procedure.places)
    for operation in procedure.operations:
        if operation.section_each is None or operation.each in (None, operation.section_each):
            continue
        own = operation.each.removeprefix(f"{operation.section_each}, ") if operation.each else ""
        outer, inner = procedure.places.get(operation.section_each, ()), procedure.places.get(own, ())
        places[operation.each or ""] = tuple(joined((first, second)) or "" for first in outer for second in inner)
    return places


# --- state by place ---------------------------------------------------------------------------------


def _with_variables_by_place(procedure: Procedure, context: ReadContext) -> Procedure:
    """The procedure with one variable for each place, and with moves and rules that name each of them."""
    each = {variable.name: variable.each for variable in procedure.state if variable.each is not None}
    if not each:
        return procedure
    places = {name: procedure.places.get(one, ()) for name, one in each.items()}
    state = tuple(one for variable in procedure.state for one in _variables_of(variable, places.get(variable.name)))
    moves = tuple(_move_by_place(move, places, context) for move in procedure.moves)
    rules = tuple(one for rule in procedure.interference for one in _rules_by_place(rule, each, places, context))
    return replace(procedure, state=state, moves=moves, interference=rules)


def _variables_of(variable: Variable, places: tuple[str, ...] | None) -> Iterator[Variable]:
    if places is None:
        yield variable
        return
    for place in places:
        title = f"{variable.title or variable.name.replace('-', ' ')} ({variable.each} {place})"
        ask = variable.ask and f"{variable.ask.rstrip()} ({variable.each} {place})"
        yield replace(
            variable, name=name_at(variable.name, place), title=title, ask=ask, family=variable.name, place=place
        )


def at_all_places(settings: Mapping[str, T], places: Mapping[str, tuple[str, ...]]) -> dict[str, T]:
    """The settings in which ``pushrod[*]`` is replaced by the variable of each place."""
    found: dict[str, T] = {}
    for name, value in settings.items():
        family, place = StepId.parse(name)
        every = places.get(family, ()) if place == ALL_PLACES else ()
        found.update({name_at(family, one): value for one in every} if every else {name: value})
    return found


def _move_by_place(move: Move, places: Mapping[str, tuple[str, ...]], context: ReadContext) -> Move:
    for settings in (move.needs, move.during, move.sets):
        for name in settings:
            if name in places:
                _report_which_place(name, places, move.mark, context)
    return replace(
        move,
        needs=at_all_places(move.needs, places),
        during=at_all_places(move.during, places),
        sets=at_all_places(move.sets, places),
    )


def _rules_by_place(
    rule: Rule, each: Mapping[str, str | None], places: Mapping[str, tuple[str, ...]], context: ReadContext
) -> Iterator[Rule]:
    """A rule with plain names of variables by place: one rule for each place."""
    plain = [name for name in rule.never if name in each]
    sets = list(dict.fromkeys(each[name] for name in plain))
    if len(sets) > 1:
        context.problem(
            "which-place",
            rule.mark,
            f"`{plain[0]}` has the places of {sets[0]}, but another variable of this rule has those of {sets[1]}",
            f'Name the places of one of them, such as `"{plain[0]}[*]"`',
        )
        return
    for place in places[plain[0]] if plain else (None,):
        never: Values = {name_at(name, place) if name in plain else name: one for name, one in rule.never.items()}
        yield replace(rule, never=at_all_places(never, places))


def _report_which_place(name: str, places: Mapping[str, tuple[str, ...]], mark: Mark, context: ReadContext) -> None:
    context.problem(
        "which-place",
        mark,
        f"`{name}` has {len(places[name])} places, and this does not say which one",
        f'Write `"{name_at(name, places[name][0] if places[name] else None)}"`, or `"{name}[*]"` for all',
    )
