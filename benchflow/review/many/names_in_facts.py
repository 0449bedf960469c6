"""The names in the facts of one job: instruments, lots, people, operations and readings."""

from collections.abc import Iterator
from typing import assert_never

from benchflow.review.many.session_question import SessionMatch, SubjectKind


def names_in_match(found: SessionMatch, kind: SubjectKind) -> Iterator[str]:
    """Every name of this kind in the facts ``found``. A name may come more than once, or be ""."""
    match kind:
        case "instrument":
            for reading in found.readings:
                for tool in reading.tools:
                    yield from tool
            for stage in found.stages:
                yield from (stage.serial, stage.instrument)
            for one in found.instruments:
                yield from (one.serial, one.title, one.need)
        case "lot":
            yield from (lot.lot for lot in found.lots)
        case "person":
            yield found.session.by
            for operation in found.operations:
                yield from operation.people
            for facts in (found.readings, found.stages, found.lots, found.signatures, found.deviations):
                yield from (fact.by for fact in facts)
        case "operation":
            yield from (operation.operation for operation in found.operations)
        case "reading":
            yield from (reading.name for reading in found.readings)
        case _:
            assert_never(kind)
