"""The number of uses of each instrument in a job, counted from its log."""

from collections import Counter
from collections.abc import Iterable

from benchflow.session.log.line_format import Line


def instrument_uses(lines: Iterable[Line]) -> dict[str, int]:
    """The number of uses by serial number. Each tick and each reading is one use of every instrument that it names."""
    return dict(
        Counter(
            str(line.data[key])
            for line in lines
            if line.kind in ("ticked", "recorded")
            for key in ("serial", "stretch_serial")
            if line.data.get(key)
        )
    )
