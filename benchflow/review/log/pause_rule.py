"""The rule that keeps pauses apart from work: a long gap between two entries is a pause."""

from typing import Final

from benchflow.procedure.plan import Step

PAUSE_SECONDS: Final = 2700.0
"""A longer gap between two entries is a pause. (Own rule.)"""

TIMES_STATED: Final = 2.0
"""A gap of up to this many times the least time by the procedure is work, however long it is. (Own rule.)"""


def is_pause(seconds: float, step: Step | None) -> bool:
    """True if a gap between two entries is a pause. ``step`` is in progress in the gap; ``None``: no step is."""
    return seconds > PAUSE_SECONDS and (step is None or seconds > TIMES_STATED * step.takes)
