"""A note that the customer's copy hides the author's own values, because only values of blocks have `handover`."""

from collections.abc import Iterator

from benchflow.procedure.blocks.source_map import SourceMap
from benchflow.procedure.model import CalculatedValue, Procedure, RecordedValue, bounds_of, values_of
from benchflow.procedure.problems import Problem
from benchflow.procedure.variants import every_variant

_SHOWN = 3
"""The most names in the note."""


def hidden_value_problems(procedure: Procedure, source_map: SourceMap | None, file: str) -> Iterator[Problem]:
    """One note if only values of blocks have `handover`, so that the customer's copy hides the author's own values.

    A value whose name the author gives to a block is his own too. The note is at the first of the author's values.
    """
    if source_map is None:
        return
    named: dict[str, None] = {}
    hidden: list[RecordedValue | CalculatedValue] = []
    for operation in every_variant(procedure):
        for value in values_of(operation):
            if value.handover and source_map.origin_of(value.handover_mark)[0] != source_map.origin_of(value.mark)[0]:
                return  # the author's own value, or a name that he gives to a block
            if value.handover:
                named[value.handover] = None
            elif bounds_of(value) and not source_map.origin_of(value.mark)[1]:
                hidden.append(value)
    if not named or not hidden:
        return
    names = list(named)
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    first = hidden[0]
    yield Problem(
        "hidden-values",
        "note",
        file,
        first.mark.line,
        first.mark.column,
        f"The customer's copy shows only the values of blocks: {', '.join(names[:_SHOWN])}{more}",
        "Write `handover` on your own values that the customer has to see, such as "
        f"`{first.name}: {{handover: {_title(first)}, ...}}`, or it shows none of them",
        where=first.name,
    )


def _title(value: RecordedValue | CalculatedValue) -> str:
    return (value.ask if isinstance(value, RecordedValue) else value.title) or value.name
