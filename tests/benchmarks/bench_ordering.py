"""Measures the proof and the route, and compares the proof with the model checker spin on the same models.

    python tests/benchmarks/bench_ordering.py [check] [three] [different] [large] [route]

Without arguments it runs all five. The targets:

* ``check``: the whole process of `benchflow check` on the shipped head installation takes at most 0.5 times as long as
  spin, which generates, compiles and runs the same model.
* ``three``: 40 unordered operations on one group of variables, with three different effects, are proven in seconds,
  where spin reaches its limit of 4 GiB or 60 s.
* ``different``: 20 such operations with all-different effects take at most 3 times as long as spin, below 2 GiB.
* ``large``: 1,000 operations, about 200 variables in groups of up to 6 and about 300 repeats take less than 10 s.
* ``route``: the 95th percentile of `route` and `why` on 500 operations is below one frame at 60 Hz.

spin is compiled with -O2 and searches depth first, which is its fastest mode. Its memory is not known if it reaches its
limit. All procedures but the head installation are invented.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from random import Random

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from benchflow.ordering.configuration import Configuration  # noqa: E402  # the root has to be on the path first
from benchflow.ordering.interlock import after_move, after_step, move_reasons, moves_of, step_reasons  # noqa: E402
from benchflow.ordering.proof import Proof, prove  # noqa: E402
from benchflow.ordering.route import route  # noqa: E402
from benchflow.procedure.expand import expand, option_choices  # noqa: E402
from benchflow.procedure.model import Move, Operation, Procedure, Rule, Section, Variable  # noqa: E402
from benchflow.procedure.plan import Plan  # noqa: E402
from benchflow.procedure.reader import read_bytes  # noqa: E402
from tests.ordering import promela  # noqa: E402
from tests.ordering.large import large_procedure  # noqa: E402

FRAME = 1000 / 60
SPIN_MEBIBYTES, SPIN_SECONDS = 4096, 60


# --- models -----------------------------------------------------------------------------------------


def free(operations: list[Operation], state: list[Variable], rules: list[Rule], moves: list[Move]) -> Procedure:
    return Procedure(
        id="free",
        title="Invented: unordered operations",
        revision="1",
        state=tuple(state),
        interference=tuple(rules),
        moves=tuple(moves),
        sections=(Section("work", "Work", tuple(each.id for each in operations)),),
        operations=tuple(operations),
    )


def work(number: int, **effect: object) -> Operation:
    return Operation(id=f"op{number}", title=f"Do {number}", section="work", number=number + 1, **effect)  # type: ignore[arg-type]  # needs, during and sets, as the callers below have them


def three_effects(count: int) -> Procedure:
    """Return a procedure with three kinds of operation.

    The first kind opens the guard and moves the lever to the left. It needs the position to be down. The second moves
    the lever to the right. The third sets the position to down.
    """
    effects: list[dict[str, object]] = [
        {"needs": {"position": ("down",)}, "during": {"guard": "open"}, "sets": {"lever": "left"}},
        {"needs": {"position": ("up",), "lever": ("left",)}, "sets": {"lever": "right"}},
        {"needs": {"lever": ("right",)}, "sets": {"position": "down"}},
    ]
    return free(
        [work(number, **effects[number % 3]) for number in range(count)],
        [
            Variable("position", ("down", "up"), None),
            Variable("guard", ("shut", "open"), "shut"),
            Variable("lever", ("left", "right"), "left"),
        ],
        [Rule({"position": ("up",), "guard": ("open",)}, "the guard would be struck")],
        [
            Move("turn-up", "Turn up", sets={"position": "up"}),
            Move("turn-down", "Turn down", sets={"position": "down"}),
            Move("throw-left", "Throw left", sets={"lever": "left"}),
            Move("throw-right", "Throw right", sets={"lever": "right"}),
        ],
    )


def all_different(count: int, *, blocking: bool, turns: str) -> Procedure:
    """Return a procedure in which each operation sets its own pair of values of two variables. A rule forbids one pair.

    With ``blocking``, each operation is blocked by one value of the first variable. ``turns`` are the values that moves
    set. With two such values the procedure has no finding; with one it has dead ends.
    """
    values = tuple("abcde")
    needs = [{"a": tuple(v for v in values if v != values[(n + 1) % 5])} if blocking else {} for n in range(count)]
    return free(
        [work(n, needs=needs[n], sets={"a": values[n % 5], "b": values[n // 5]}) for n in range(count)],
        [Variable("a", values, "a"), Variable("b", values, "a")],
        [Rule({"a": ("a",), "b": ("e",)}, "they would touch")],
        [Move(f"turn-to-{v}", f"Turn to {v}", sets={"a": v}) for v in turns],
    )


# --- measuring --------------------------------------------------------------------------------------


def in_a_child(make: Callable[[], Procedure]) -> tuple[float, float, str]:
    """Run the proof in its own process. Return its seconds, its peak memory in MiB, and the verdict."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        procedure = make()
        start = time.perf_counter()
        proof = prove(procedure)
        took = time.perf_counter() - start
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        os.write(writing, f"{took}|{peak}|{verdict(proof)}".encode())
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as pipe:
        took_, peak_, said = pipe.read().split("|")
    os.waitpid(child, 0)
    return float(took_), float(peak_), said


def verdict(proof: Proof) -> str:
    codes = ", ".join(sorted({finding.code for finding in proof.findings})) or "clean"
    return f"{codes} ({proof.configurations:,} configurations{'' if proof.complete else ', NOT COMPLETE'})"


def spin(procedure: Procedure) -> promela.SpinRun:
    plans = [expand(procedure, options) for options in option_choices(procedure)]
    with tempfile.TemporaryDirectory() as folder:
        return promela.run(
            promela.promela_model(*plans, on_paper=True),
            Path(folder),
            breadth_first=False,
            optimise="-O2",
            mebibytes=SPIN_MEBIBYTES,
            seconds=SPIN_SECONDS,
        )


def print_result(name: str, seconds: float, memory: float, verdict_text: str) -> None:
    print(f"  {name:<12}{seconds:9.2f} s {memory:8.0f} MiB  {verdict_text}")


def print_spin_result(ran: promela.SpinRun) -> None:
    said = f"an error at depth {ran.depth}" if ran.depth is not None else "clean"
    said = f"{said} ({ran.states:,} states)" if ran.complete else f"GAVE UP ({SPIN_MEBIBYTES} MiB, {SPIN_SECONDS} s)"
    parts = f"generating {ran.generating:.2f}, compiling {ran.compiling:.2f}, running {ran.running:.2f}"
    print_result("spin", ran.seconds, ran.memory, f"{said}; {parts}")


def side_by_side(
    title: str,
    make: Callable[[], Procedure],
    aim: str,
    met: Callable[[float, float, promela.SpinRun], bool],
) -> None:
    print(title, flush=True)
    seconds, memory, said = in_a_child(make)
    print_result("benchflow", seconds, memory, said)
    ran = spin(make())
    print_spin_result(ran)
    than = "" if ran.complete else "at most "
    print(
        f"  {than}{seconds / ran.seconds:.4f} times spin   aim: {aim}   {_met(met(seconds, memory, ran))}", flush=True
    )


def _met(ok: bool) -> str:
    return "ok" if ok else "MISSED"


# --- the benchmarks ---------------------------------------------------------------------------------


def bench_check(rounds: int = 7) -> None:
    print("check: the shipped head installation, whole process, the compiled form kept")
    file = ROOT / "procedures" / "head-install.yaml"
    with tempfile.TemporaryDirectory() as home:
        environ = {**os.environ, "BENCHFLOW_HOME": home, "PYTHONPATH": str(ROOT)}
        environ |= {"PYTHONPYCACHEPREFIX": f"{home}/byte-code"}
        environ.pop("PYTHONDONTWRITEBYTECODE", None)  # an installed program has its byte code
        command = [sys.executable, "-m", "benchflow", "check", str(file)]
        subprocess.run(command, env=environ, cwd=home, check=True, stdout=subprocess.DEVNULL)
        times = []
        for _ in range(rounds):
            start = time.perf_counter()
            subprocess.run(command, env=environ, cwd=home, check=True, stdout=subprocess.DEVNULL)
            times.append(time.perf_counter() - start)
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    median = statistics.median(times)
    print_result("benchflow", median, peak, f"median of {rounds}, every choice of options")
    procedure = read_bytes(file.read_bytes(), str(file)).procedure
    assert procedure is not None
    ran = spin(procedure)
    print_spin_result(ran)
    before = ran.generating + ran.compiling
    print(f"  {median / ran.seconds:.3f} times spin   aim: 0.5   {_met(median <= 0.5 * ran.seconds)}")
    print(f"  ({median / before:.2f} times what spin takes before it has looked at the first state)")


def bench_three() -> None:
    side_by_side(
        "three: 40 free operations, one group of variables, three different effects",
        lambda: three_effects(40),
        "seconds, where spin gives up",
        lambda seconds, _, ran: seconds < 10 and not ran.complete,
    )


def bench_different() -> None:
    for title, blocking, turns in (
        ("no operation blocks another", False, ""),
        ("each blocks others, and moves unblock them", True, "cd"),
        # Moves can be repeated for ever, so spin reports no dead end. It searches just as many states.
        ("with dead ends", True, "c"),
    ):
        make = partial(all_different, 20, blocking=blocking, turns=turns)
        side_by_side(
            f"different: 20 free operations, all effects different; {title}",
            make,
            "3 times spin, below 2 GiB",
            lambda seconds, memory, ran: seconds <= 3 * ran.seconds and memory < 2048,
        )


def bench_large() -> None:
    print("large: assemblies that wait for each other; no reference")
    for size in (125, 250, 500, 1000):
        procedure = large_procedure(size)
        plan = expand(procedure, {"kind": "heavy"})
        repeated = sum(step.place is not None for step in plan.steps.values())
        seconds, memory, said = in_a_child(partial(large_procedure, size))
        what = f"{len(plan.steps)} operations, {len(procedure.state)} variables, {repeated} each-instances: {said}"
        print_result(f"{size}", seconds, memory, what)
    print(f"  aim: 1000 under 10 s   {_met(seconds < 10)}")


def bench_route(samples: int = 60) -> None:
    print("route and why: 500 operations, at points all through the build, for operations still to be done")
    plan = expand(large_procedure(500), {"kind": "heavy"})
    draw = Random(1)
    start = {v.name: v.start or draw.choice(v.values) for v in plan.procedure.state}
    here = Configuration(frozenset(), dict(start))
    route_times: list[float] = []
    why_times: list[float] = []
    longest = 0
    cut = 0
    every = max(len(plan.steps) // samples, 1)
    while len(here.done) < len(plan.steps):
        left = [name for name in plan.steps if name not in here.done]
        if len(here.done) % every == 0:
            for goal in {*draw.sample(left, min(4, len(left))), left[-1]}:
                began = time.perf_counter()
                step_reasons(plan, here, goal)
                why_times.append((time.perf_counter() - began) * 1000)
                began = time.perf_counter()
                found = route(plan, here, goal)
                route_times.append((time.perf_counter() - began) * 1000)
                longest = max(longest, len(getattr(found, "steps", ())))
                cut += not getattr(found, "shortest", True)
        here = _one_more(plan, here, draw)
    for name, times in (("why", why_times), ("route", route_times)):
        p95 = statistics.quantiles(times, n=20)[-1]
        print(
            f"  {name:<12}{statistics.median(times):8.2f} ms median {p95:8.2f} ms p95 {max(times):8.2f} ms longest"
            f"  of {len(times)}   aim: p95 below {FRAME:.1f} ms   {_met(p95 < FRAME)}"
        )
    print(f"  the longest route has {longest} steps; {cut} routes are not proven to be the shortest")


def _one_more(plan: Plan, here: Configuration, draw: Random) -> Configuration:
    """Return the configuration after one more allowed operation. If none is allowed, make moves until one is."""
    while True:
        may = [name for name in plan.steps if name not in here.done and not step_reasons(plan, here, name)]
        if may:
            return after_step(plan, here, draw.choice(may))
        here = after_move(plan, here, draw.choice([m for m in moves_of(plan) if not move_reasons(plan, here, m)]))


def main() -> None:
    rows = {"check": bench_check, "three": bench_three, "different": bench_different, "large": bench_large}
    rows["route"] = bench_route
    needs_spin = {"check", "three", "different"}
    for name in sys.argv[1:] or list(rows):
        if name in needs_spin and not promela.AVAILABLE:
            print(f"{name}: not run, needs the programs spin and gcc")
            continue
        rows[name]()


if __name__ == "__main__":
    main()
