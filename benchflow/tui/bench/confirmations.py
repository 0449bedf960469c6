"""What the screen says when it opens, and after something was put on disk."""

from benchflow.tui.app.session_client import Seat
from benchflow.tui.bench.fields import Want, WantReading
from benchflow.tui.draw.field_rows import verdict


def greeting(seat: Seat) -> tuple[str, ...]:
    """What must be known of the log before anything else."""
    view, journal = seat.view, seat.desk.journal
    if view.simulated:
        return ("A rehearsal: its time is not real. It can be looked at here, and nothing can be entered.",)
    if view.read_only:
        return (f"Only to be looked at: {view.read_only}.",)
    if journal.torn is not None:
        return (f"The last line of the log was torn, and is kept in {journal.torn.name}. Go on from here.",)
    if seat.desk.run > 1 and view.rework is not None:
        return (f"You left off taking work back: step {view.rework.step} of {view.rework.of} comes now.",)
    if seat.desk.run > 1 and view.now is not None and view.now.in_progress:
        return (f"You left off at {view.now.number} {view.now.title}.",)
    return ()


def told_reading(wants: tuple[Want, ...], entered: WantReading) -> tuple[str, ...]:
    """``End float: 0.12 mm, in``, and what to do about it where it is not."""
    for want in wants:
        same = isinstance(want, WantReading) and want.of.name == entered.of.name
        if same and isinstance(want, WantReading) and want.slot.slot == entered.slot.slot:
            word, _ = verdict(want.slot)
            which = f", {want.slot.slot}" if len(want.of.readings) > 1 else ""
            told = f"{want.of.ask}{which}: {want.slot.shown}" + (f", {word}" if word else "")
            return (told, f"→ {want.of.remedy}") if want.of.remedy and word != "in" else (told,)
    return ("Entered.",)
