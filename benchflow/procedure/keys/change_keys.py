"""The keys of `changes`: what was changed in each revision of a procedure, and why."""

import datetime

from benchflow.procedure.model import ProcedureChange, Ref
from benchflow.procedure.shapes.basic_shapes import LINE, ListShape, TextShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.shape_base import NOWHERE, ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode, YamlScalar


class _DateShape(TextShape):
    """A calendar date, ``2026-03-01``."""

    noun = "a date such as 2026-03-01"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        text = super().read(node, context, name)
        if text is None or not isinstance(node, YamlScalar):
            return text
        try:
            datetime.date.fromisoformat(text)
        except ValueError:
            hint = "Write year, month and day with dashes, such as 2026-03-01"
            context.problem("wrong-kind", node.mark, f"`{text[:30]}` is not a date", hint)
            return None
        return text


_REVISION = Key("revision", LINE, "The revision that the change made; put it in quotes.", required=True)
_DATE = Key("date", _DateShape(), "The day of the change.", examples=("2026-03-01",))
_WHAT = Key(
    "what",
    LINE,
    "What was changed: the operation and its key, old and new.",
    required=True,
    examples=("plug-bores: takes 5 min -> 14 min",),
)
_WHY = Key("why", LINE, "Why it was changed.", examples=("Median of the worked time in 8 jobs",))
_FROM = Key(
    "from",
    ListShape(LINE),
    "The log lines that the change comes from. `benchflow revise` writes them and recognises them.",
    examples=(["job 2417, line 43 (log 3f9a1c2b5d6e)"],),
)


def _change(fields: Fields) -> ProcedureChange:
    return ProcedureChange(
        fields.get_or(_REVISION, ""),
        fields.get_or(_DATE, ""),
        fields.get_or(_WHAT, ""),
        fields.get_or(_WHY, ""),
        fields.get_or(_FROM, ()),
        fields.mark,
    )


CHANGES = ListShape(KeyedShape("change", "a change", (_REVISION, _DATE, _WHAT, _WHY, _FROM), _change))
