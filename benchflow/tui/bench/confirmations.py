"""Messages of the bench: when it opens, and after a reading."""

from benchflow.tui.draw.input_blocks import verdict_span
from benchflow.tui.model.bench_inputs import BenchInput, SlotInput
from benchflow.tui.model.session_client import SessionClient


def opening_message(client: SessionClient) -> tuple[str, ...]:
    """Return the message when the bench opens: view only, a damaged last line, or the step to continue with."""
    view, journal = client.view, client.controller.journal
    if view.simulated:
        return ("View only. This job was simulated; its times are not real.",)
    if view.read_only:
        return (f"View only: {view.read_only}.",)
    if journal.torn is not None:
        return (
            f"The last line of the log was incomplete. A copy is in {journal.torn.name}. Continue with the step shown.",
        )
    if client.controller.run > 1 and view.rework is not None:
        return (f"Rework in progress: continue with step {view.rework.step} of {view.rework.of}.",)
    if client.controller.run > 1 and view.now is not None and view.now.in_progress:
        return (f"Continue with {view.now.number} {view.now.title}.",)
    return ()


def reading_message(items: tuple[BenchInput, ...], entered: SlotInput) -> tuple[str, ...]:
    """Return a message such as ``End float: 0.12 mm ok``, with the remedy if the reading is out of its limit."""
    for item in items:
        same = isinstance(item, SlotInput) and item.input.name == entered.input.name
        if same and isinstance(item, SlotInput) and item.slot.slot == entered.slot.slot:
            word, _ = verdict_span(item.slot)
            which = f", {item.slot.slot}" if len(item.input.readings) > 1 else ""
            text = f"{item.input.ask}{which}: {item.slot.shown}" + (f" {word}" if word else "")
            return (text, item.input.remedy) if item.input.remedy and word != "ok" else (text,)
    return ("Recorded.",)
