"""Checks that no reduction of the proof changes a verdict.

    python -m tests.ordering.agreement [random procedures, 2000 without an argument]

It proves every shipped procedure, large procedures and random procedures. Each is proven with all reductions, then
with each reduction switched off, and the verdicts are compared. The differences are printed. The exit code is 1 if
there are any.
"""

import sys
from collections.abc import Iterator
from pathlib import Path

from hypothesis import HealthCheck, given, settings

from benchflow.ordering.proof import Proof, Reductions, prove
from benchflow.procedure.model import Procedure
from tests.driving.shipped import shipped_procedure
from tests.ordering.large import large_procedure
from tests.ordering.random_plans import plan_of_waiting_groups, random_procedures

LIBRARY = sorted((Path(__file__).parents[2] / "procedures").glob("*.yaml"))

WITHOUT_GROUPS = Reductions(by_groups=False)
"""Explores all variables together. This takes too long for the large procedures."""
SWITCHED_OFF = {
    "forced order": Reductions(forced_order=False),
    "twins": Reductions(twins=False),
    "lattice": Reductions(lattice=False),
    "explicit sets": Reductions(set_by_set=False),
    "approximation": Reductions(approximation=False),
    "small lattices explored": Reductions(small_lattice=0),
    "small lattices explored, twins": Reductions(small_lattice=0, twins=False),
}
SWITCHED_OFF_FOR_SMALL_PLANS = {
    **SWITCHED_OFF,
    "groups": WITHOUT_GROUPS,
    "all but explicit sets": Reductions(
        by_groups=False, forced_order=False, twins=False, lattice=False, approximation=False
    ),
}


def verdict(proof: Proof) -> object:
    """The results of a proof that no reduction may change: codes, operations never done, shortest lengths."""
    shortest = {
        code: min((len(f.order) for f in proof.findings if f.code == code and isinstance(f.order, tuple)), default=None)
        for code in ("dead-end", "interlock-needed")
    }
    return (
        proof.complete,
        sorted({finding.code for finding in proof.findings}),
        sorted(finding.where for finding in proof.findings if finding.code == "unreachable-operation"),
        shortest,
    )


def disagreements(procedure: Procedure, switched_off: dict[str, Reductions]) -> Iterator[str]:
    """One line for each reduction that changes the verdict when it is switched off."""
    usual = verdict(prove(procedure))
    for name, reductions in switched_off.items():
        other = verdict(prove(procedure, reductions=reductions))
        if other != usual:
            yield f"{procedure.id} without {name}: {other}, not {usual}"


def main(count: int) -> int:
    found: list[str] = []
    for path in LIBRARY:
        found += disagreements(shipped_procedure(path), SWITCHED_OFF_FOR_SMALL_PLANS)
    print(f"{len(LIBRARY)} shipped procedures compared", flush=True)
    sizes = (27, 54, 125, 250, 500)
    for size in sizes:
        for seed in (1, 2, 3):
            found += disagreements(large_procedure(size, seed), SWITCHED_OFF)
    print(f"{3 * len(sizes)} large procedures compared", flush=True)
    for seed in range(count // 2):
        found += disagreements(plan_of_waiting_groups(seed).procedure, SWITCHED_OFF_FOR_SMALL_PLANS)
    print(f"{count // 2} random procedures compared, whose states wait for each other", flush=True)
    compared = 0

    @settings(max_examples=count - count // 2, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(random_procedures(with_cycles=True))
    def compare(procedure: Procedure) -> None:
        nonlocal compared
        compared += 1
        found.extend(disagreements(procedure, SWITCHED_OFF_FOR_SMALL_PLANS))

    compare()
    print(f"{compared} other random procedures compared", flush=True)
    for line in found:
        print(line)
    print(f"{len(found)} verdicts differ")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000))
