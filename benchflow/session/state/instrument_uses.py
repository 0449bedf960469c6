"""The number of uses of each instrument in a job, counted from its log."""

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

from benchflow.session.log.line_format import Line


def instrument_uses(lines: Iterable[Line]) -> dict[str, int]:
    """The number of uses by serial number. Each tick and each reading is one use of every instrument that it names."""
    return dict(
        Counter(serial for line in lines if line.kind in ("ticked", "recorded") for serial in _serials(line.data))
    )


def _serials(data: dict[str, Any]) -> Iterator[str]:
    """The serial numbers that a reading or a tick names, each once. Any line can be damaged."""
    found = [data.get("serial"), data.get("stretch_serial")]
    tools = data.get("tools")
    found += [share.get("serial") for share in tools if isinstance(share, dict)] if isinstance(tools, list) else []
    yield from dict.fromkeys(str(serial) for serial in found if serial)
