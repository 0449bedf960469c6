"""The name of the next revision. (Common practice, no source.)"""

from datetime import date

import pytest

from benchflow.writing.revisions.revision_names import next_revision

TODAY = date(2026, 3, 2)


@pytest.mark.parametrize(("now", "following"), [
    ("B", "C"), ("b", "c"), ("Z", "AA"), ("AZ", "BA"), ("1", "2"), ("1.3", "1.4"), ("1.9", "1.10"), ("B2", "B3"),
    ("09", "10"), ("rev. 7", "rev. 8"), ("2.B", "2.C"), ("2026-03-01", "2026-03-02"), ("2026-03-02", "2026-03-02.2"),
    ("2026-03-02.2", "2026-03-02.3"), ("", "1"), ("draft", "draft 2"), ("draft 2", "draft 3"),
])  # fmt: skip
def test_next_revision_is_of_the_same_kind(now: str, following: str) -> None:
    assert next_revision(now, TODAY) == following
