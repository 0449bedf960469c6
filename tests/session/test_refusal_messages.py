"""Every message of a refusal ends with a full stop or another end mark."""

import pytest

from benchflow.session.refusal import Reason


@pytest.mark.parametrize(
    ("message", "shown"),
    [
        ("Enter the name of the builder", "Enter the name of the builder."),
        ("Start the operation first.", "Start the operation first."),
        ("Did you mean set-head?", "Did you mean set-head?"),
    ],
)
def test_message_of_a_reason_gets_one_full_stop(message: str, shown: str) -> None:
    assert Reason("value-missing", message).message == shown


def test_error_at_a_character_gets_no_full_stop() -> None:
    assert Reason("bad-quantity", "Write 0.12", at=1).message == "Write 0.12"
