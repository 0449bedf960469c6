"""The keys of the shop file for dates and for doubts about an instrument."""

import re
from datetime import date

from benchflow.procedure.model import Ref
from benchflow.procedure.shapes.basic_shapes import LINE, EitherShape, TransformedShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode
from benchflow.trade.instrument_doubts import Doubt

_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


class DateShape(Shape[date]):
    """A date in the form of ISO 8601."""

    noun = "a date such as 2026-03-01"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> date | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        try:
            if _DATE.fullmatch(found.text) is None:  # fromisoformat takes other forms too
                raise ValueError
            return date.fromisoformat(found.text)
        except ValueError:
            hint = "Write year-month-day, such as 2026-03-01"
            context.problem("bad-date", found.mark, f"`{found.text[:40]}` is not a date", hint)
            return None

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string", "format": "date"}


_REASON = Key("reason", LINE, "What happened, such as a fall.", required=True)
_FOUND = Key("found", DateShape(), "The day on which the error was found, or it happened.")
_LAST_GOOD = Key(
    "last-good", DateShape(), "The last day on which it was known to read right. Default: the calibration before."
)
_ENDED_BY = Key("calibrated", DateShape(), "The calibration that ended the doubt.", required=True)


def _doubt(fields: Fields) -> Doubt:
    found, good = fields.get(_FOUND), fields.get(_LAST_GOOD)
    if found is not None and good is not None and good > found:
        message = f"The last good check {good} is after the day {found} on which the error was found"
        fields.problem("bad-date", _LAST_GOOD, message, "Correct one of the two dates")
    return Doubt(fields.get_or(_REASON, ""), found, good)


def _ended_doubt(fields: Fields) -> Doubt:
    doubt, calibrated = _doubt(fields), fields.get(_ENDED_BY)
    latest = max((day for day in (doubt.found, doubt.last_good) if day is not None), default=None)
    if calibrated is not None and latest is not None and calibrated < latest:
        message = f"The calibration {calibrated} that ended the doubt is before {latest}"
        fields.problem("bad-date", _ENDED_BY, message, "Correct one of the dates")
    return Doubt(doubt.reason, doubt.found, doubt.last_good, calibrated)


def _plain_doubt(text: str, node: YamlNode, name: Ref, context: ReadContext) -> Doubt:
    return Doubt(text)


DOUBT: Shape[Doubt] = EitherShape(
    "the reason of the doubt, or a mapping with `reason`, `found` and `last-good`",
    text=TransformedShape(LINE, _plain_doubt),
    entries=KeyedShape("doubt", "a doubt", (_REASON, _FOUND, _LAST_GOOD), _doubt),
)
"""A present doubt: its reason alone, or with its dates."""

ENDED_DOUBT: Shape[Doubt] = KeyedShape(
    "ended-doubt", "an earlier doubt", (_REASON, _FOUND, _LAST_GOOD, _ENDED_BY), _ended_doubt
)
