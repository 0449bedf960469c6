"""Reads an intent from decoded JSON. Every mistake in it is reported at once.

Text is cleaned here, so that nothing that could control a terminal gets into the log or into an answer. A quantity is
kept exactly as typed: a quantity with an invisible character is refused later, not repaired.
"""

import typing
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from functools import cache
from typing import Any, cast

import msgspec

from benchflow.base.plaintext import clean, clean_line
from benchflow.quantity.types import printable
from benchflow.session.intents.intent_types import INTENT_TYPES, BaseIntent, Intent
from benchflow.session.refusal import Reason, Refusal

VERBATIM_FIELDS = frozenset(
    {"value", "stretch", "extension", "lever", "angle", "nut-factor", "pin", "lot", "file", "layout"}
)
"""Fields that are kept as typed. Their handlers clean those that are neither quantities nor the path of a file."""

TEXT_FIELDS = frozenset({"text", "reason", "unfinished"})
"""Fields that may have several lines. In all other fields, white space is reduced to single spaces."""

NUMBER_FIELDS = frozenset({"fastener", "reading", "place", "check", "event", "further", "stage", "replaces", "count"})
"""Fields that may be JSON numbers. In all other fields a whole number is read as text (``"unit": 2417``)."""


def read_intent(message: Any) -> Intent | Refusal:
    """Return the intent of a job in ``message``, or a refusal, with the codes of :func:`read_intent_of`."""
    return cast("Intent | Refusal", read_intent_of(message, INTENT_TYPES))


def read_intent_of(message: Any, types: Mapping[str, type[BaseIntent]]) -> BaseIntent | Refusal:
    """Return the intent in ``message``, which is one of ``types``, or a refusal.

    The codes of the refusal are: ``unknown-name`` for an unknown intent or field, ``value-missing`` for a missing
    field, ``bad-quantity`` for a quantity that is not text, and ``bad-intent`` for everything else.
    """
    if not isinstance(message, dict) or message.get("intent") is None:
        example = 'This is not an intent. Send a JSON object such as {"intent": "status"}'
        return Refusal((Reason("bad-intent", example),))
    name = message["intent"]
    intent_type = types.get(name) if isinstance(name, str) else None
    if intent_type is None:
        known = sorted(types)
        hint = _hint(str(name), known, f"The intents are {', '.join(known)}")
        return Refusal((Reason("unknown-name", f"Unknown intent: “{printable(str(name))}”. {hint}", name="intent"),))
    cleaned = {key: _clean_field(key, value) for key, value in message.items()}
    mistakes = tuple(_mistakes(str(name), cleaned, intent_type))
    if mistakes:
        return Refusal(mistakes)
    try:
        # Converting to one class is ten times as fast as converting to the union `Intent`.
        return msgspec.convert(cleaned, intent_type, strict=True)
    except msgspec.ValidationError as error:
        return Refusal((Reason("bad-intent", f"The intent {name} cannot be read. {clean_line(str(error))}"),))


def intent_record(intent: BaseIntent) -> dict[str, Any]:
    """The intent as JSON for the log: without its PIN, and without the fields that have their defaults."""
    record = {"intent": intent.__struct_config__.tag}
    for field in msgspec.structs.fields(type(intent)):
        value = getattr(intent, field.name)
        if field.name != "pin" and value is not msgspec.UNSET and (field.required or value != field.default):
            record[field.encode_name] = _loggable(msgspec.to_builtins(value))
    return record


def _loggable(value: Any) -> Any:
    """``value`` without characters that could control a terminal, or that UTF-8 cannot hold."""
    return clean(value.encode("utf-8", "replace").decode()) if isinstance(value, str) else value


@cache
def required_by_field(intent_type: type[BaseIntent]) -> dict[str, bool]:
    """Return the fields of an intent by their JSON names, each with True if it is required."""
    return {field.encode_name: field.required for field in msgspec.structs.fields(intent_type)}


@cache
def _flags(intent_type: type[BaseIntent]) -> frozenset[str]:
    """Return the JSON names of the fields of an intent that are true or false."""
    kinds = typing.get_type_hints(intent_type)
    return frozenset(
        field.encode_name
        for field in msgspec.structs.fields(intent_type)
        if kinds[field.name] is bool or bool in typing.get_args(kinds[field.name])
    )


def _clean_field(key: str, value: Any) -> Any:
    if isinstance(value, str):
        if key in VERBATIM_FIELDS or key == "intent":
            return value
        return clean(value).strip() if key in TEXT_FIELDS else clean_line(value)
    if isinstance(value, dict):  # `options` and `start`; deeper levels are refused by their type
        return {clean_line(str(inner_key)): _as_text(inner) for inner_key, inner in value.items()}
    return value if key in NUMBER_FIELDS else _as_text(value)


def _as_text(value: Any) -> Any:
    """Return text on one line, and a whole number as its digits. Other values are returned unchanged."""
    if isinstance(value, str):
        return clean_line(value)
    return str(value) if type(value) is int else value


def _mistakes(name: str, message: dict[str, Any], intent_type: type[BaseIntent]) -> Iterator[Reason]:
    required = required_by_field(intent_type)
    for key, value in message.items():
        if key != "intent" and key not in required:
            hint = _hint(key, list(required), f"Its fields are {', '.join(required)}")
            text = f"Unknown field of {name}: “{printable(key)}”. {hint}"
            yield Reason("unknown-name", text, name=clean_line(key)[:80])
        elif key in ("value", "stretch") and not isinstance(value, str | None):
            example = 'Write it as text, with its unit and every digit, such as "0.045 mm"'
            yield Reason("bad-quantity", f"The field {key} is a JSON {_json_type(value)}. {example}", name=key)
        elif key in _flags(intent_type) and not isinstance(value, bool | None):
            yield Reason("bad-intent", f"The field {key} of {name} is true or false. Write it without quotes", name=key)
    for key, is_required in required.items():
        if is_required and message.get(key) is None:
            yield Reason("value-missing", f"The intent {name} needs the field {key}", name=key)


def _hint(name: str, known: list[str], otherwise: str) -> str:
    """Return the nearest known name as a question, or ``otherwise`` if none is near."""
    near = get_close_matches(name[:40], known, 1)
    return f"Did you mean {near[0]}?" if near else otherwise


def _json_type(value: object) -> str:
    kinds: dict[type, str] = {bool: "true or false", float: "number", list: "array", dict: "object"}
    return kinds.get(type(value), "value")
