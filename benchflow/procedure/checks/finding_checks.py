"""Checks of findings that decide if an operation is done, and of operations that are done if needed."""

from collections.abc import Iterator

from benchflow.procedure.deciding_findings import answers_of_findings, possible_answers
from benchflow.procedure.identity import ALL_PLACES, StepId, joined, name_at, parts
from benchflow.procedure.index_meaning import places_named, site_of
from benchflow.procedure.model import Mark, Operation, Procedure, remedies_of
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.variants import variants_of


def check_findings(procedure: Procedure, context: ReadContext) -> None:
    """Report findings that are not clear or never made, cycles of findings, and work that no remedy calls for."""
    for operation in procedure.operations:
        for name, answers in operation.findings.items():
            _check_finding(procedure, operation, name, answers, context)
        if operation.if_needed and not _is_called(procedure, operation):
            context.problem(
                "never-called",
                operation.mark,
                f"`{operation.id}` is done only if needed, but no remedy names it in `redo`, so it is never done",
                "Name it in the `redo` of a remedy, or delete `if-needed`",
                "warning",
            )
    for cycle in _cycles(procedure):
        first = procedure.operations_by_id[cycle[0]]
        first_name, *others = (f"`{name}`" for name in (*cycle, cycle[0]))
        chain = ", which depends on a finding of ".join(others)
        message = f"{first_name} depends on a finding of {chain}, so it can never be done"
        context.problem("order-cycle", first.mark, message, "Delete one of these findings from `when`")


def _check_finding(
    procedure: Procedure, operation: Operation, name: str, answers: tuple[str, ...], context: ReadContext
) -> None:
    mark = operation.finding_marks.get(name, operation.mark)
    plain, index = StepId.parse(name)
    owners = procedure.operations_of_finding(plain)
    if len(owners) > 1:
        ids = " and ".join(f"`{owner.id}`" for owner in owners)
        message = f"`{plain}` is not clear: {ids} both have one"
        context.problem("duplicate-name", mark, message, "Give one of them another name")
        return
    for owner in owners:
        _check_place_of_finding(procedure, operation, owner, plain, index, mark, context)
        for answer in answers:
            known = tuple(dict.fromkeys(one for each in variants_of(owner) for one in possible_answers(each, plain)))
            if known and answer not in known and answer in _answers(procedure, plain):
                context.problem(
                    "never-found",
                    mark,
                    f"`{plain}` can never be `{answer}`: {_why_never(known)}",
                    "Write the limit that is missing, or another answer",
                )


def _answers(procedure: Procedure, name: str) -> tuple[str, ...]:
    """The answers there are to a finding, possible or not. The name check reports any other."""
    return answers_of_findings(procedure.operations).get(name, ())


def _why_never(known: tuple[str, ...]) -> str:
    if known == ("ok",):
        return "it has no limit"
    return f"its limit has no {'upper' if 'above' not in known else 'lower'} end"


def _check_place_of_finding(
    procedure: Procedure, operation: Operation, owner: Operation, name: str, index: str | None, mark: Mark,
    context: ReadContext,
) -> None:  # fmt: skip
    if owner.each is None:
        return
    section = owner.section if owner.section_each is not None else ""
    pattern = places_named(owner.each, parts(index), site_of(operation), section)
    if pattern is not None and (index is not None or ALL_PLACES not in parts(pattern)):
        return
    example = name_at(name, joined(procedure.places.get(one, (ALL_PLACES,))[0] for one in parts(owner.each)))
    context.problem(
        "which-place",
        mark,
        f"`{name}` is found at each {' and '.join(parts(owner.each))}, and this does not say where",
        f'Write `"{example}"`, or `"{name}[*]"` if any of them decides',
    )


def _is_called(procedure: Procedure, operation: Operation) -> bool:
    return any(
        StepId.parse(ref.name).operation == operation.id
        for other in procedure.operations
        if other is not operation
        for remedy in remedies_of(other)
        for ref in remedy.redo
    )


def _cycles(procedure: Procedure) -> Iterator[tuple[str, ...]]:
    """Operations that depend on each other's findings, each cycle once."""
    needed = {
        operation.id: {
            owner.id
            for name in operation.findings
            for owner in procedure.operations_of_finding(StepId.parse(name).operation)
        }
        for operation in procedure.operations
    }
    seen: set[frozenset[str]] = set()
    for start in needed:
        cycle = _cycle_from(start, needed)
        if cycle and frozenset(cycle) not in seen:
            seen.add(frozenset(cycle))
            yield cycle


def _cycle_from(start: str, needed: dict[str, set[str]]) -> tuple[str, ...]:
    paths: list[tuple[str, ...]] = [(start,)]
    visited: set[str] = set()
    while paths:
        path = paths.pop(0)
        for name in needed.get(path[-1], ()):
            if name == start:
                return path
            if name not in visited:
                visited.add(name)
                paths.append((*path, name))
    return ()
