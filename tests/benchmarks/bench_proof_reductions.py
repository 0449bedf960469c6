"""Measures the time of the proof with each reduction on and off.

    python tests/benchmarks/bench_proof_reductions.py [groups|forced-order|twins|lattice|explicit|approximation ...]

Without arguments it runs all six, in about a minute. A reduction stays in the product only if it is at least twice
as fast here. "Off" is stopped after 20 s of CPU time; the factor is then a lower bound. All procedures are invented.
`tests.ordering.agreement` shows that no reduction changes a verdict.
"""

import os
import resource
import signal
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from msgspec.structs import replace  # noqa: E402  # the root has to be on the path first

from benchflow.ordering.proof import Reductions, prove  # noqa: E402
from benchflow.procedure.model import Operation, Procedure, Ref, Variable  # noqa: E402
from tests.benchmarks.bench_ordering import all_different, free, three_effects, work  # noqa: E402
from tests.ordering.large import large_procedure  # noqa: E402

AIM = 2.0
OFF_SECONDS = 20
OFF_BYTES = 3 << 30


# --- one procedure per reduction ----------------------------------------------------------------------


def bench_groups() -> bool:
    """Measure the separate exploration of groups: configurations of the groups are added, not multiplied."""
    return compare("groups", partial(large_procedure, 125), Reductions(by_groups=False))


def bench_forced_order() -> bool:
    """Measure the forced order: groups use the order that another group forces, and are explored separately."""
    return compare("forced-order", partial(two_assemblies, 6), Reductions(forced_order=False))


def bench_twins() -> bool:
    """Measure twins: only one order of interchangeable operations is explored."""
    return compare("twins", partial(one_way_lever, 21), Reductions(twins=False))


def bench_lattice() -> bool:
    """Measure the lattice: all sets of done operations at one valuation are stored as one large integer."""
    make = partial(all_different, 12, blocking=True, turns="cd")
    return compare("lattice", make, Reductions(lattice=False))


def bench_explicit() -> bool:
    """Measure explicit sets: they are stored one by one if only few of the possible sets are reachable."""
    return compare("explicit", partial(stages, 26), Reductions(set_by_set=False))


def bench_approximation() -> bool:
    """Measure the over-approximation: a group that it proves is not explored."""
    make = partial(all_different, 16, blocking=True, turns="cd")
    return compare("approximation", make, Reductions(approximation=False))


def two_assemblies(bolts: int) -> Procedure:
    """Return a procedure with a pump and a guard that wait for each other. Each has ``bolts`` operations in any order.

    In each, an operation is listed before the one that sets the state it needs.
    """
    state = [Variable("pump", ("dry", "primed"), "dry"), Variable("guard", ("off", "on"), "off")]
    made: list[Operation] = []

    def add(name: str, *after: str, **effect: object) -> None:
        numbered = work(len(made), **effect)
        made.append(replace(numbered, id=name, title=name, after=tuple(Ref(earlier) for earlier in after)))

    add("fit-guard", sets={"guard": "on"})
    add("check-flow", needs={"pump": ("primed",)})
    add("set-guard", needs={"guard": ("off",)})
    add("prime-pump", "set-guard", needs={"pump": ("dry",)}, sets={"pump": "primed"})
    add("remove-guard", "fit-guard", "adjust-guard", sets={"guard": "off"})
    add("adjust-guard", "check-flow", "set-guard", needs={"guard": ("off",)})
    for part, values in (("pump", ("dry", "primed")), ("guard", ("off", "on"))):
        names = [f"{part}-bolt-{number}" for number in range(bolts)]
        for name in names:
            state.append(Variable(name, ("out", "in"), "out"))
            add(f"fit-{name}", needs={part: values}, sets={name: "in"})
        add(f"torque-{part}", *(f"fit-{name}" for name in names), needs={part: values, **dict.fromkeys(names, ("in",))})
    return free(made, state, [], [])


def one_way_lever(count: int) -> Procedure:
    """Return :func:`three_effects` without the move that returns the lever. This gives dead ends."""
    whole = three_effects(count)
    return replace(whole, moves=tuple(move for move in whole.moves if move.id != "throw-left"))


def stages(count: int) -> Procedure:
    """Return operations without `after`. Each needs the stage that the one before it sets."""
    names = tuple(f"stage-{number}" for number in range(count + 1))
    made = [work(n, needs={"stage": (names[n],)}, sets={"stage": names[n + 1]}) for n in range(count)]
    return free(made, [Variable("stage", names, names[0])], [], [])


# --- measuring ----------------------------------------------------------------------------------------


def compare(name: str, make: Callable[[], Procedure], off: Reductions) -> bool:
    with_it = measured(make, Reductions())
    without = measured(make, off)
    assert with_it is not None
    seconds, configurations = with_it
    if without is None:
        least, other = OFF_SECONDS / seconds, f"stopped at {OFF_SECONDS} s or {OFF_BYTES >> 30} GiB"
    else:
        least, other = without[0] / seconds, f"{without[0]:.3f} s, {without[1]:,} configurations"
    verdict = "pays" if least >= AIM else "DOES NOT PAY"
    factor = f"{'at least ' if without is None else ''}{least:.0f} times, {verdict}"
    print(f"{name:<14} on {seconds:.3f} s, {configurations:,} configurations; off {other}: {factor}", flush=True)
    return least >= AIM


def measured(make: Callable[[], Procedure], reductions: Reductions) -> tuple[float, int] | None:
    """Run a proof in its own process. Return CPU seconds and configurations; ``None`` if stopped or not complete."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        signal.signal(signal.SIGXCPU, signal.SIG_DFL)
        resource.setrlimit(resource.RLIMIT_AS, (OFF_BYTES, OFF_BYTES))
        procedure = make()
        limit = OFF_SECONDS + int(time.process_time()) + 1
        resource.setrlimit(resource.RLIMIT_CPU, (limit, limit))
        start = time.process_time()
        try:
            proof = prove(procedure, reductions=reductions)
        except MemoryError:
            os._exit(1)
        if proof.complete:
            os.write(writing, f"{time.process_time() - start} {proof.configurations}".encode())
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as pipe:
        text = pipe.read()
    os.waitpid(child, 0)
    if not text:
        return None
    seconds, configurations = text.split()
    return float(seconds), int(configurations)


BENCHES = {
    "groups": bench_groups,
    "forced-order": bench_forced_order,
    "twins": bench_twins,
    "lattice": bench_lattice,
    "explicit": bench_explicit,
    "approximation": bench_approximation,
}


def main() -> int:
    results = [BENCHES[name]() for name in sys.argv[1:] or BENCHES]
    return 0 if all(results) else 1


if __name__ == "__main__":
    sys.exit(main())
