"""The reasons for reading a value again, on the bench and in the log.

A value read again is logged as a correction with its true reason, which the review shows.
"""

READ_AGAIN = "read again"

REASONS = {
    "dirt": "dirt on the part or on the instrument",
    "zero": "the zero of the instrument was off",
    "misread": "the instrument was misread",
}
"""The reasons by their name. Source: common practice, no source."""


def read_again_reason(name: str) -> str:
    """Return the reason of the correction: ``read again: the zero of the instrument was off``."""
    return f"{READ_AGAIN}: {REASONS[name]}"
