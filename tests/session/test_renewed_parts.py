"""Which parts of a teardown are renewed each time. Trade knowledge from memory, no source."""

import pytest

from benchflow.session.teardown.renewed_parts import is_seal


@pytest.mark.parametrize(
    "text", ["crank seal", "rear main oil seal", "cover gasket", "o-ring", "copper washer", "seals"]
)
def test_seal_is_renewed(text: str) -> None:
    assert is_seal(text)


@pytest.mark.parametrize(
    "text", ["seal carrier", "rear oil seal housing", "oil seal retainer", "gasket face", "carrier"]
)
def test_part_that_holds_a_seal_is_not_a_seal(text: str) -> None:
    assert not is_seal(text)
