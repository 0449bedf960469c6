"""Refusals as data: every condition that is not met, with its code and a message."""

from typing import Literal

from msgspec import Struct
from msgspec.structs import force_setattr

Code = Literal[
    "not-open", "already-open", "operation-in-progress", "not-started", "after-missing", "state-not-met",
    "interference", "too-early", "too-late", "hold-unsigned", "value-missing", "out-of-limit", "not-proven",
    "bad-quantity", "wrong-dimension", "fastener-order", "stage-not-finished", "check-open",
    "instrument-unfit", "not-allowed", "unknown-name", "temporary-left", "already-done",
    "remedy-first", "check-failed", "fastener-failed", "pin-wait",
    "bad-intent", "not-saved",
]  # fmt: skip
"""The refusal codes of the procedure format, and two more: ``bad-intent`` for an intent that cannot be read, and
``not-saved`` for an event that could not be written to the disk."""


END_MARKS = (".", "!", "?", ":", "…")
"""A message that ends with one of these marks gets no full stop. Nor does an error in a typed text (``at`` is set): its
last word may be a number to type, such as 0.12."""


class Reason(Struct, frozen=True, omit_defaults=True):
    """One condition that is not met. The fields after ``message`` are set where they apply.

    ``message`` is one sentence or several. The full stop of the last one is added here.
    """

    code: Code
    message: str
    operation: str | None = None  # step id
    state: str | None = None  # name of the state variable
    rule: int | None = None  # index into Procedure.interference
    name: str | None = None  # name of a value, a joint, a field and so on
    at: int | None = None  # index of the wrong character in the typed text
    rework: str | None = None  # step id of the operation that the message says to do again by a rework

    def __post_init__(self) -> None:
        if self.at is None and not self.message.endswith(END_MARKS):
            force_setattr(self, "message", f"{self.message}.")


class WrongPin(Struct, frozen=True):
    """A PIN that was entered for a person and does not match. It is logged."""

    person: str
    role: str = ""


class Refusal(Struct, frozen=True):
    """The reasons against an intent, at least one. ``wrong_pin`` is set if a wrong PIN was entered."""

    refused: tuple[Reason, ...]
    wrong_pin: WrongPin | None = None
