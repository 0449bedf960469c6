"""From what is typed to what is sent: a reading before the eyes as one types, and the intent that Enter makes."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from benchflow.base.errors import BenchflowError
from benchflow.session.refusal import Refusal
from benchflow.tui.model.bench_inputs import BenchInput, SlotInput, TickInput
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.model.typed_text import with_own_unit

if TYPE_CHECKING:
    from benchflow.session.rules.instrument_choice import ToolList


def reading_fields(item: SlotInput, text: str) -> dict[str, str]:
    """The fields of a ``record`` intent."""
    return {
        "name": item.of.name,
        "value": with_own_unit(text, item.of.unit),
        "reading": item.slot.slot,
    }


def asks_instrument(refusal: Refusal) -> bool:
    """Whether all that stands in the way is which instrument it is."""
    codes = {(reason.code, reason.name) for reason in refusal.refused}
    return codes == {("value-missing", "instrument")} or {code for code, _ in codes} == {"instrument-unfit"}


def instruments_for(
    client: SessionClient, item: BenchInput | None, fields: Mapping[str, object]
) -> "tuple[ToolList, ...]":
    """What the shop has for the line in hand, by the instruments that it asks for; ``fields`` are those of the
    intent. Empty without a register, or where its file cannot be read: the desk says that in so many words."""
    from benchflow.session.rules.instrument_choice import (  # late: the bench opens without it
        tools_for_joint,
        tools_for_reading,
    )

    typed = {name: str(fields[name]) for name in ("value", "stretch") if fields.get(name)}
    try:
        around = client.around()
    except BenchflowError:
        return ()
    match item:
        case SlotInput():
            return tools_for_reading(client.state, around, item.of.name, typed.get("value", ""))
        case TickInput():
            return tools_for_joint(client.state, around, item.stage, typed)
        case _:
            return ()


def chosen_instruments(client: SessionClient, item: BenchInput | None, fields: Mapping[str, object]) -> dict[str, str]:
    """The fields of the intent that say which instruments were chosen for it and are not in the log yet."""
    if not client.tools:
        return {}
    return {
        tools.field: client.tools[tools.need]
        for tools in instruments_for(client, item, fields)
        if tools.need in client.tools
    }


def tick_fields(item: TickInput, texts: Mapping[str, str]) -> dict[str, object]:
    """The fields of a ``tick`` intent; ``texts`` are the readings that it takes, by the intent's own names."""
    fields: dict[str, object] = {"joint": item.of.joint, "fastener": item.fastener, "stage": item.stage}
    units = {value.field: value.unit for value in item.of.wanted}
    for name, text in texts.items():
        fields[name] = with_own_unit(text, units.get(name))  # type: ignore[call-overload]  # the names are the fields' own
    return fields
