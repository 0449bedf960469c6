"""The key `also`: further limits on the readings of a recorded value, each with its own remedies."""

from collections.abc import Callable
from typing import NamedTuple, cast

from benchflow.procedure.keys.source_keys import OPERATION_SOURCE
from benchflow.procedure.model import Bound, FurtherLimit, Judge, Mark, Remedy
from benchflow.procedure.shapes.basic_shapes import FILLED_LINE, ListShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.yaml_source.yaml_nodes import YamlScalar

_TITLE = Key("title", FILLED_LINE, "What the figure is called, such as Taper.")


class WrittenFurtherLimit(NamedTuple):
    """A further limit whose text is read when the unit of the value is known."""

    limit: YamlScalar | None
    judge: Judge
    title: str
    below: tuple[Remedy, ...]
    above: tuple[Remedy, ...]
    mark: Mark
    source: str

    def with_bound(self, bound: Bound) -> FurtherLimit:
        """The further limit with its text as read."""
        return FurtherLimit(bound, self.judge, self.title, self.below, self.above, self.mark, self.source)


class LimitKeys(NamedTuple):
    """The keys of a recorded value that a further limit has too."""

    limit: Key[YamlScalar]
    judge: Key[str]
    below: Key[tuple[Remedy, ...]]
    above: Key[tuple[Remedy, ...]]


def further_limits(keys: LimitKeys, check_remedies: Callable[[Fields], None]) -> Key[tuple[WrittenFurtherLimit, ...]]:
    """The key `also`. ``check_remedies`` reports remedies on a side without a limit."""
    limit = Key("limit", keys.limit.shape, keys.limit.description, required=True, examples=keys.limit.examples)

    def build(fields: Fields) -> WrittenFurtherLimit:
        check_remedies(fields)
        return WrittenFurtherLimit(
            fields.get(limit),
            cast(Judge, fields.get_or(keys.judge, "all")),
            fields.get_or(_TITLE, ""),
            fields.get_or(keys.below, ()),
            fields.get_or(keys.above, ()),
            fields.mark,
            fields.get_or(OPERATION_SOURCE, ""),
        )

    known = (keys.judge, limit, _TITLE, keys.below, keys.above, OPERATION_SOURCE)
    shape = KeyedShape("further-limit", "a further limit", known, build)
    return Key(
        "also",
        ListShape(shape, at_least=1),
        "Further limits on the same readings, such as one on their spread. Each is judged and has its own remedies. "
        "The intent `remedy` means the first that is out: the main limit, then these in their order.",
        examples=([{"judge": "spread", "limit": "at most 0.005 mm", "title": "Taper"}],),
    )
