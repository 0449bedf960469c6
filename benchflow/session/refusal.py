"""A refusal is data: every condition that is not met, each with its code and its words."""

from typing import Literal

from msgspec import Struct

Code = Literal[
    "not-open", "already-open", "operation-in-progress", "not-started", "after-missing", "state-not-met",
    "interference", "too-early", "too-late", "hold-unsigned", "value-missing", "out-of-limit", "not-proven",
    "bad-quantity", "wrong-dimension", "fastener-order", "stage-not-finished", "check-open",
    "instrument-unfit", "not-allowed", "unknown-name", "temporary-left", "already-done",
    "bad-intent", "not-saved",
]  # fmt: skip
"""The codes of the procedure format, and two of the controller's own: an intent that cannot be read, an
event that could not be put on disk."""


class Reason(Struct, frozen=True, omit_defaults=True):
    """One unmet condition. Whichever of the name fields apply are filled in."""

    code: Code
    message: str
    operation: str | None = None
    state: str | None = None
    rule: int | None = None  # index into Procedure.interference
    name: str | None = None
    at: int | None = None  # index of the offending character in what was typed


class Refusal(Struct, frozen=True):
    """``refused`` is never empty."""

    refused: tuple[Reason, ...]
