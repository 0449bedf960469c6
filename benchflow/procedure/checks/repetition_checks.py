"""Checks of references to repeated operations and of state variables by place: which place is meant."""

from collections.abc import Iterable, Iterator

from benchflow.procedure.identity import ALL_PLACES, StepId, joined, name_at, parts
from benchflow.procedure.index_meaning import Site, places_named, site_of
from benchflow.procedure.model import Mark, Operation, Procedure, Ref, remedies_of, values_of
from benchflow.procedure.shapes.shape_base import ReadContext


def check_repetition(procedure: Procedure, context: ReadContext) -> None:
    """Report references and state variables of which it is not clear which place they mean."""
    for operation in procedure.operations:
        for ref in references_of(operation):
            _check_reference(procedure, operation, ref, context)
        _check_variables(procedure, operation, context)


def references_of(operation: Operation) -> Iterator[Ref]:
    """The references to operations in an operation, beside those of its findings."""
    yield from operation.after
    yield from (window.operation for window in operation.time)
    yield from operation.takes_apart
    if operation.restored_by is not None:
        yield operation.restored_by
    for remedy in remedies_of(operation):
        yield from remedy.redo


def _check_reference(procedure: Procedure, operation: Operation, ref: Ref, context: ReadContext) -> None:
    name, index = StepId.parse(ref.name)
    other = procedure.operations_by_id.get(name)
    if other is None or other.each is None or len(parts(index)) > len(parts(other.each)):
        return  # the name check reports too many indexes
    section = other.section if other.section_each is not None else ""
    if places_named(other.each, parts(index), site_of(operation), section) is not None:
        return
    outer, inner = parts(other.each)[0], parts(other.each)[-1]
    example = name_at(name, joined(procedure.places.get(one, (ALL_PLACES,))[0] for one in (outer, inner)))
    context.problem(
        "which-place",
        ref.mark,
        f"`{name}` is repeated over {outer} and {inner}, and `{ref.name}` does not say which places",
        f'Write both, such as `"{example}"`, or `"{name}[*]"` for all of them',
    )


def _check_variables(procedure: Procedure, operation: Operation, context: ReadContext) -> None:
    undo = operation.undo
    needs = (*operation.needs, *operation.during, *operation.sets)
    named = [(name, operation.mark) for name in (*needs, *((*undo.needs, *undo.sets) if undo else ()))]
    named += [(ref.name, ref.mark) for ref in _proves(operation)]
    _report_unclear(procedure, site_of(operation), named, context)


def _proves(operation: Operation) -> Iterator[Ref]:
    for each in (*values_of(operation), *operation.check, *operation.time):
        yield from each.proves


def _report_unclear(procedure: Procedure, site: Site, named: Iterable[tuple[str, Mark]], context: ReadContext) -> None:
    for name, mark in dict.fromkeys(named):
        family, place = StepId.parse(name)
        members = procedure.variable_families.get(family, ())
        if place is not None or not members or members[0].each in site.places:
            continue
        context.problem(
            "which-place",
            mark,
            f"`{family}` has {len(members)} places, and this does not say which one",
            f'Write `"{members[0].name}"`, or `"{family}[*]"` for all. In an operation that is repeated for each '
            f"{members[0].each}, `{family}` is the one of the same place",
        )
