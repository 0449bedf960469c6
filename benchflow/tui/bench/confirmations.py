"""What the screen says when it opens, and after something was put on disk."""

from benchflow.tui.draw.input_blocks import verdict
from benchflow.tui.model.bench_inputs import BenchInput, SlotInput
from benchflow.tui.model.session_client import SessionClient


def opening_message(client: SessionClient) -> tuple[str, ...]:
    """What must be known of the log before anything else."""
    view, journal = client.view, client.desk.journal
    if view.simulated:
        return ("A rehearsal: its time is not real. It can be looked at here, and nothing can be entered.",)
    if view.read_only:
        return (f"Only to be looked at: {view.read_only}.",)
    if journal.torn is not None:
        return (f"The last line of the log was torn, and is kept in {journal.torn.name}. Go on from here.",)
    if client.desk.run > 1 and view.rework is not None:
        return (f"You left off taking work back: step {view.rework.step} of {view.rework.of} comes now.",)
    if client.desk.run > 1 and view.now is not None and view.now.in_progress:
        return (f"You left off at {view.now.number} {view.now.title}.",)
    return ()


def reading_message(items: tuple[BenchInput, ...], entered: SlotInput) -> tuple[str, ...]:
    """``End float: 0.12 mm, in``, and what to do about it where it is not."""
    for item in items:
        same = isinstance(item, SlotInput) and item.of.name == entered.of.name
        if same and isinstance(item, SlotInput) and item.slot.slot == entered.slot.slot:
            word, _ = verdict(item.slot)
            which = f", {item.slot.slot}" if len(item.of.readings) > 1 else ""
            told = f"{item.of.ask}{which}: {item.slot.shown}" + (f", {word}" if word else "")
            return (told, f"→ {item.of.remedy}") if item.of.remedy and word != "in" else (told,)
    return ("Entered.",)
