"""Builds the fields of the intents that the bench sends, and lists the instruments to choose from."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from benchflow.base.errors import BenchflowError
from benchflow.session.refusal import Refusal
from benchflow.tui.model.bench_inputs import BenchInput, SlotInput, TickInput
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.model.typed_text import with_own_unit

if TYPE_CHECKING:
    from benchflow.session.rules.instrument_choice import ToolList


def reading_fields(item: SlotInput, text: str) -> dict[str, str | bool]:
    """Return the fields of a ``record`` intent."""
    part = {} if item.used is None else {"used": item.used}
    return {
        **part,
        "name": item.input.name,
        "value": with_own_unit(text, item.input.unit),
        "reading": item.slot.slot,
    }


def asks_instrument(refusal: Refusal) -> bool:
    """True if an entry was refused only because of its instrument."""
    codes = {(reason.code, reason.name) for reason in refusal.refused}
    return codes == {("value-missing", "instrument")} or {code for code, _ in codes} == {"instrument-unfit"}


def instruments_for(
    client: SessionClient, item: BenchInput | None, fields: Mapping[str, object]
) -> "tuple[ToolList, ...]":
    """Return the shop's instruments for the current item, one list for each instrument that it needs.

    ``fields`` are the fields of the intent. The result is empty without a shop register, or if its file cannot be read;
    the controller reports that error.
    """
    from benchflow.session.rules.instrument_choice import (  # imported late: not needed for the first paint
        tools_for_joint,
        tools_for_reading,
    )

    typed = {name: str(fields[name]) for name in ("value", "stretch") if fields.get(name)}
    try:
        context = client.context()
    except BenchflowError:
        return ()
    match item:
        case SlotInput():
            return tools_for_reading(client.state, context, item.input.name, typed.get("value", ""))
        case TickInput():
            return tools_for_joint(client.state, context, item.stage, typed)
        case _:
            return ()


def chosen_instruments(
    client: SessionClient, item: BenchInput | None, fields: Mapping[str, object]
) -> dict[str, str | list[str]]:
    """Return the fields with the chosen instruments. Several for one reading are a list."""
    if not client.tools:
        return {}
    lists = instruments_for(client, item, fields)
    if isinstance(item, SlotInput) and len(lists) > 1:
        return {"instrument": [client.tools.get(tools.need, tools.need) for tools in lists]}
    return {tools.field: client.tools[tools.need] for tools in lists if tools.need in client.tools}


def tick_fields(item: TickInput, texts: Mapping[str, str]) -> dict[str, object]:
    """Return the fields of a ``tick`` intent. ``texts`` are its readings by the name of their field.

    An optional reading may be empty.
    """
    fields: dict[str, object] = {"joint": item.input.joint, "fastener": item.fastener, "stage": item.stage}
    units = {value.field: value.unit for value in item.input.tick_values}
    if item.value is not None and item.value.optional:
        units = {item.value.field: item.value.unit}
        texts = {name: text for name, text in texts.items() if text.strip()}
    for name, text in texts.items():
        fields[name] = with_own_unit(text, units.get(name))  # type: ignore[call-overload]  # the names are the fields' own
    return fields
