"""From decoded JSON to an intent: what was meant is taken, what cannot be meant is refused with every mistake named.

Text is cleaned here, once, so that nothing that steers a terminal gets into the log or into an answer. What is typed to
be read as a quantity stays as it is: a figure with something unseen in it is refused, never mended.
"""

from collections.abc import Iterator
from difflib import get_close_matches
from functools import cache
from typing import Any, cast

import msgspec

from benchflow.base.plaintext import clean, clean_line
from benchflow.quantity.types import printable
from benchflow.session.intents.intent_types import KINDS, Base, Intent
from benchflow.session.refusal import Reason, Refusal

EXACT = frozenset({"value", "stretch", "extension", "lever", "angle", "nut-factor", "pin", "lot"})
"""Kept as typed here. What is no quantity among them is cleaned where it is used: a lot keeps every blank in it."""
PROSE = frozenset({"text", "reason", "unfinished"})
NUMBERS = frozenset({"fastener", "reading", "place", "check", "event", "stage"})
"""Fields that may be numbers in JSON. In every other one a whole number stands for its digits (``"unit": 2417``)."""


def read_intent(message: Any) -> Intent | Refusal:
    """The intent in ``message``, or a refusal.

    A name that is not known (of the intent, of a field) is ``unknown-name``, a field left out ``value-missing``, a
    quantity that is not text ``bad-quantity``; ``bad-intent`` is what can be nothing at all.
    """
    if not isinstance(message, dict) or message.get("intent") is None:
        return Refusal((Reason("bad-intent", 'an intent is a JSON object such as {"intent": "status"}'),))
    name = message["intent"]
    kind = KINDS.get(name) if isinstance(name, str) else None
    if kind is None:
        known = tuple(sorted(KINDS))
        near = get_close_matches(str(name)[:40], known, 1)
        hint = f"did you mean {near[0]}?" if near else f"it is one of {', '.join(known)}"
        return Refusal((Reason("unknown-name", f'no such intent: "{printable(str(name))}"; {hint}', name="intent"),))
    tidy = {key: _tidy(key, value) for key, value in message.items()}
    wrong = tuple(_mistakes(str(name), tidy, fields_of(kind)))
    if wrong:
        return Refusal(wrong)
    try:
        # The kind rather than the union: a tick is read in a tenth of the time.
        return cast("Intent", msgspec.convert(tidy, kind, strict=True))
    except msgspec.ValidationError as error:
        return Refusal((Reason("bad-intent", f"{name}: {clean_line(str(error))}"),))


@cache
def fields_of(kind: type[Base]) -> dict[str, bool]:
    """Field name to whether it has to be there."""
    return {field.encode_name: field.required for field in msgspec.structs.fields(kind)}


def _tidy(key: str, value: Any) -> Any:
    if isinstance(value, str):
        if key in EXACT or key == "intent":
            return value
        return clean(value).strip() if key in PROSE else clean_line(value)
    if isinstance(value, dict):
        # `options` and `start`: one level, as deep as anything here goes. What lies deeper is refused with its type.
        return {clean_line(str(inner)): _plain(each) for inner, each in value.items()}
    return value if key in NUMBERS else _plain(value)


def _plain(value: Any) -> Any:
    """A word on one line; a whole number as its digits."""
    if isinstance(value, str):
        return clean_line(value)
    return str(value) if type(value) is int else value


def _mistakes(name: str, message: dict[str, Any], fields: dict[str, bool]) -> Iterator[Reason]:
    for key, value in message.items():
        if key != "intent" and key not in fields:
            near = get_close_matches(key[:40], list(fields), 1)
            hint = f"did you mean {near[0]}?" if near else f"it has {', '.join(fields)}"
            yield Reason("unknown-name", f'{name} has no field "{printable(key)}"; {hint}', name=clean_line(key)[:80])
        elif key in ("value", "stretch") and not isinstance(value, str | None):
            example = 'write it as text, with its unit and every digit: "0.045 mm"'
            yield Reason("bad-quantity", f"{key} is a JSON {_json_type(value)}; {example}", name=key)
    for key, required in fields.items():
        if required and message.get(key) is None:
            yield Reason("value-missing", f"{name} needs {key}", name=key)


def _json_type(value: object) -> str:
    kinds: dict[type, str] = {bool: "true or false", float: "number", list: "array", dict: "object"}
    return kinds.get(type(value), "value")
