"""Messages of the bench: when it opens, after a reading, and after a tick."""

from collections.abc import Mapping
from typing import Any

from benchflow.trade.verdict import OUT_OF_LIMIT, VERDICT_TEXT
from benchflow.tui.draw.block_parts import stated_part, verdict_span
from benchflow.tui.draw.styled_lines import Role
from benchflow.tui.model.bench_inputs import BenchInput, SlotInput, TickInput
from benchflow.tui.model.session_client import SessionClient


def opening_message(client: SessionClient) -> tuple[str, ...]:
    """Return the message when the bench opens: a damaged log, view only, or the step to continue with."""
    view, journal = client.view, client.controller.journal
    if journal.damage is not None:
        damage = f"line {journal.damage.line} {journal.damage.what}"
        return ("View only. At least what is shown here was done; the rest is not known.", f"Of the log, {damage}.")
    if view.simulated:
        return ("View only. This job was simulated; its times are not real.",)
    if view.read_only:
        return (f"View only: {view.read_only}.",)
    remembered = client.controller.remembered()
    if remembered:
        return (remembered,)
    if client.controller.block_notes:
        return client.controller.block_notes
    if journal.torn is not None:
        return (
            f"The last line of the log was incomplete. A copy is in {journal.torn.name}. Continue with the step shown.",
        )
    if client.controller.resumed and view.rework is not None:
        return (f"Rework in progress: continue with step {view.rework.step} of {view.rework.of}.",)
    if client.controller.resumed and view.now is not None and view.now.in_progress:
        return (f"Continue with {view.now.number} {view.now.title}.",)
    return ()


def reading_message(
    items: tuple[BenchInput, ...], entered: SlotInput, part_item: SlotInput | None
) -> tuple[tuple[str, ...], Role]:
    """Return a message such as ``End float: 0.12 mm ok`` and its role, with the remedy if the reading is out.

    ``part_item`` is the reading that the key for a used part is about now.
    """
    for item in items:
        same = isinstance(item, SlotInput) and item.input.name == entered.input.name
        if same and isinstance(item, SlotInput) and item.slot.slot == entered.slot.slot:
            word, role = verdict_span(item.slot)
            which = f", {item.slot.slot}" if len(item.input.readings) > 1 else ""
            text = f"{item.input.ask}{which}: {item.slot.shown}" + (f" {word}" if word else "")
            text = ", ".join(filter(None, (text, stated_part(item.input, item.slot))))
            loud: Role = "out-of-limit" if role == "out-of-limit" else "text"
            other = item.slot.other_part if loud == "out-of-limit" else None
            key = "press p" if item == part_item else "select this reading again (↑) and press p"
            kind = "" if other is None else "used" if other.used else "new"
            part = "" if other is None else f"If the part is {kind}, {key}: limit {other.limit}."
            return (text, *filter(None, (part, item.slot.remedy))), loud
    return ("Recorded.",), "text"


def tick_message(item: TickInput, ticked: Mapping[str, Any]) -> tuple[str, ...]:
    """Return a message such as ``No. 3 done: 60 N·m``, or the reading and what to do if it is out of its band.

    ``ticked`` is the data of the event.
    """
    verdict, stage = ticked.get("verdict", "none"), item.input.stages[item.stage - 1]
    read = (ticked.get("quantity") or {}).get("entered") or ticked.get("answer", "")
    if verdict not in OUT_OF_LIMIT:
        shown = f", {read} {VERDICT_TEXT[verdict]}".rstrip() if read else ""
        return (f"No. {item.fastener} done: {stage}{shown}",)
    stretch = (ticked.get("stretch") or {}).get("entered", "")
    both = f"{read} and {stretch}" if stretch else read
    text = f"No. {item.fastener} is {VERDICT_TEXT[verdict]}: {both}, limit {ticked.get('limit', '')}"
    if item.value is not None and not item.value.optional:
        return (text, "Measure it again, or sign a deviation (d).")
    if verdict == "high":
        return (text, "Loosen it, bring it up again, then press Enter. Or sign a deviation (d).")
    return (text, "Bring it up to the band, then tick it again. Or sign a deviation (d).")
