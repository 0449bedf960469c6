"""Reading a value again: the reasons that the bench offers, and how the log names them.

A value read again is logged as a correction, so that nobody has to invent a typing error, and the review can weigh it.
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
