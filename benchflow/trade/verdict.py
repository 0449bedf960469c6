"""The verdicts on a reading, and their text for people."""

from typing import Final, Literal

OutOfLimit = Literal["low", "high"]
RemedySide = OutOfLimit | Literal["no"]
"""What a remedy is for: a value on one side of its limit, or a check that was answered no."""
Verdict = Literal["ok", "low", "high", "not-proven", "none"]
"""``low`` and ``high`` are out of the limit. ``none``: there is no limit, or a reading is missing."""

OUT_OF_LIMIT: Final[tuple[OutOfLimit, ...]] = ("low", "high")
NOT_ACCEPTED: Final[tuple[Verdict, ...]] = ("low", "high", "not-proven")

VERDICT_TEXT: Final[dict[str, str]] = {"ok": "ok", "low": "LOW", "high": "HIGH", "not-proven": "not proven", "none": ""}
"""The text of each verdict on the screen, in the history and on the build sheet."""
