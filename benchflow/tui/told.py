"""What the screen says after something was put on disk."""

from benchflow.tui.draw_wants import verdict
from benchflow.tui.wants import Want, WantReading


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
