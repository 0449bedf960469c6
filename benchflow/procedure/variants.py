"""The variants of operations in which something is written with `{by: ...}`: one for each combination of choices."""

from collections.abc import Iterator, Mapping
from itertools import product

from msgspec.structs import replace

from benchflow.procedure.model import (
    AboveReading,
    Operation,
    OperationVariant,
    Procedure,
    bounds_of,
    remedies_of,
    values_of,
)

_MOST_COMBINATIONS = 512
"""The most combinations of choices for which a whole procedure is checked. Each variant is checked in any case."""


def variant_for(operation: Operation, answers: Mapping[str, str]) -> Operation:
    """The operation for these choices of options and places. A name without an answer takes its first choice."""
    for variant in operation.variants:
        if _agrees(variant, answers):
            return variant.operation
    return replace(operation, variants=()) if operation.variants else operation


def _agrees(variant: OperationVariant, answers: Mapping[str, str]) -> bool:
    return all(answers.get(name, choice) == choice for name, choice in variant.choices.items())


def variants_of(operation: Operation) -> tuple[Operation, ...]:
    """Every variant of an operation; the operation itself if it has only one."""
    return tuple(variant.operation for variant in operation.variants) or (operation,)


def every_variant(procedure: Procedure) -> Iterator[Operation]:
    """Every variant of every operation, in the order of the file."""
    for operation in procedure.operations:
        yield from variants_of(operation)


def varied_options(procedure: Procedure) -> frozenset[str]:
    """The names of the options that some `by` names."""
    named = {name for op in procedure.operations for variant in op.variants for name in variant.choices}
    return frozenset(named & procedure.options_by_name.keys())


def options_that_change_order(procedure: Procedure) -> frozenset[str]:
    """The options that `by` names where a variant needs, sets, waits or calculates differently, or redoes other work.

    A `by` with other figures only, such as another limit, changes no order.
    """
    found: set[str] = set()
    for operation in procedure.operations:
        terms = [(variant.choices, terms_of_order(variant.operation)) for variant in operation.variants]
        if any(one != terms[0][1] for _, one in terms):
            found |= {name for choices, _ in terms for name in choices if name in procedure.options_by_name}
    return frozenset(found)


def terms_of_order(operation: Operation) -> tuple[object, ...]:
    """What the proof of the order depends on in an operation, beside its ids."""
    return (
        operation.needs,
        operation.during,
        operation.sets,
        operation.undo and (operation.undo.needs, operation.undo.sets),
        [(window.operation.name, window.low, window.high, window.low_open, window.high_open, window.while_)
         for window in operation.time],
        operation.takes,
        [work_out.formula for work_out in operation.work_out],
        [[bound.name for bound in bounds_of(value) if isinstance(bound, AboveReading)]
         for value in values_of(operation)],
        [[ref.name for ref in remedy.redo] for remedy in remedies_of(operation) if remedy.redo],
    )  # fmt: skip


def single_builds(procedure: Procedure) -> Iterator[tuple[Procedure, tuple[OperationVariant, ...]]]:
    """The procedure without variants, for each combination of choices; the variants that were taken beside it.

    The choices of options are combined. Places are taken in turn, the same number in each set. What is left over then
    follows, so that each variant of each operation occurs at least once.
    """
    if not any(operation.variants for operation in procedure.operations):
        yield procedure, ()
        return
    seen: set[tuple[int, ...]] = set()
    for answers in _combinations(procedure):
        taken = tuple(_index_for(operation, answers) for operation in procedure.operations)
        if taken not in seen:
            seen.add(taken)
            yield _taking(procedure, taken)
    left = [
        [n for n in range(len(op.variants)) if all(taken[at] != n for taken in seen)]
        for at, op in enumerate(procedure.operations)
    ]
    for number in range(max(map(len, left))):
        yield _taking(procedure, tuple(one[number] if number < len(one) else 0 for one in left))


def _combinations(procedure: Procedure) -> Iterator[dict[str, str]]:
    options = [procedure.options_by_name[name] for name in sorted(varied_options(procedure))]
    named = {name for op in procedure.operations for variant in op.variants for name in variant.choices}
    sets = {name: procedure.places[name] for name in sorted(named) if name in procedure.places}
    turns = max((len(places) for places in sets.values()), default=1)
    number = 0
    for choices in product(*(option.choices for option in options)):
        for turn in range(turns):
            if number >= _MOST_COMBINATIONS:
                return
            number += 1
            answers = {option.name: choice for option, choice in zip(options, choices, strict=True)}
            yield {**answers, **{name: places[turn % len(places)] for name, places in sets.items()}}


def _index_for(operation: Operation, answers: Mapping[str, str]) -> int:
    return next((n for n, variant in enumerate(operation.variants) if _agrees(variant, answers)), 0)


def _taking(procedure: Procedure, numbers: tuple[int, ...]) -> tuple[Procedure, tuple[OperationVariant, ...]]:
    """The procedure with the variants of these numbers, one for each operation."""
    chosen = [
        operation.variants[number] if operation.variants else OperationVariant({}, operation)
        for operation, number in zip(procedure.operations, numbers, strict=True)
    ]
    operations = tuple(one.operation for one in chosen)
    return replace(procedure, operations=operations), tuple(one for one in chosen if one.choices)
