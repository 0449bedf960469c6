"""Faults planted in whole builds of the small procedures: the review names each first, and accuses no clean build.

The kinds are from the trade (common practice, no source). :mod:`tests.benchmarks.bench_confusion` counts many more
builds over all procedures.
"""

from pathlib import Path

import pytest

from tests.driving.fault import Fault
from tests.driving.planted_faults import KINDS, judge
from tests.review.played_builds import folder

SMALL = ("valve-lash", "first-start", "pipe-flange", "wheel-hub", "short-block")
"""The procedures, the quickest first. A kind is tried in the first one that has a place for it."""

SEED = 11


def own_folder() -> Path:
    """A folder for the registers of these builds: the other builds have one of the same name."""
    made = folder() / "planted"
    made.mkdir(exist_ok=True)
    return made


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_planted_fault_is_named_first_with_its_reason(kind: type[Fault]) -> None:
    judged = next(filter(None, (judge(kind, procedure, SEED, own_folder()) for procedure in SMALL)))
    assert judged.verdict == "first", judged
    assert judged.complaint in ("", "first"), judged


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("procedure", SMALL[:3])
def test_clean_build_with_honest_noise_has_no_suspect_step(procedure: str, seed: int) -> None:
    judged = judge(Fault, procedure, seed, own_folder())
    assert judged is not None
    assert judged.verdict == "clean", judged
