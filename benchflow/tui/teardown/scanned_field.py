"""The entry field of a teardown: it notices what a scanner types."""

from textual import events

from benchflow.tui.app.key_timing import BURST_GAP
from benchflow.tui.widgets.entry_field import EntryField

LEAST_SCANNED = 3
"""Characters of the shortest code. Two quick keys of a person are not a scan."""


class ScannedField(EntryField):
    """An entry field that knows the last burst of characters. A scanner types a code and Enter without a pause."""

    _burst = ""
    _last = 0.0

    async def _on_key(self, event: events.Key) -> None:
        if event.is_printable and event.character:
            quick = event.time - self._last < BURST_GAP
            self._burst = (self._burst if quick else "") + event.character
            self._last = event.time
        elif event.key == "enter":
            if event.time - self._last >= BURST_GAP:
                self._burst = ""
        else:
            self._burst = ""
        await super()._on_key(event)

    def take_scanned(self) -> str:
        """The code that a scanner has just typed, "" if a person typed. A code has a digit and no blank or comma."""
        code, self._burst = self._burst.strip(), ""
        is_code = len(code) >= LEAST_SCANNED and any(map(str.isdigit, code)) and not set(" ,;") & set(code)
        return code if is_code and self.value.endswith(code) else ""
