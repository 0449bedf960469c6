"""The meaning of ordering as a model for the model checker spin, run within bounds of time and memory."""

import re
import resource
import shutil
import subprocess
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

from msgspec import Struct

from benchflow.procedure.plan import Plan
from tests.ordering import brute

AVAILABLE = bool(shutil.which("spin") and shutil.which("gcc"))


class Ran(Struct, frozen=True):
    """What spin found.

    ``depth`` is that of the first error (by breadth, the least), ``None`` where there is none: choosing a start counts
    as one, the step that violates an assertion is not counted, so that it is the number of our steps up to and
    including that one. ``complete`` is false where a bound stopped it. Seconds of wall clock; ``memory`` in mebibytes.
    """

    depth: int | None
    complete: bool
    states: int
    generating: float
    compiling: float
    running: float
    memory: float
    said: str

    @property
    def seconds(self) -> float:
        return self.generating + self.compiling + self.running


def told(*plans: Plan, on_paper: bool) -> str:
    """The plans of one procedure as one model; what is not part of a build is done from its start.

    ``on_paper`` asserts that no step which `after` and `needs` allow breaks a rule; without it the interlock holds such
    steps back, and spin's invalid end states are where nothing more can be done.
    """
    procedure = plans[0].procedure
    domains = {v.name: v.values for v in procedure.state}
    names = {name: f"v{number}" for number, name in enumerate(domains)}
    steps = {step.id: step for plan in plans for step in plan.steps.values()}
    after = {name: {a for plan in plans if name in plan.steps for a in plan.steps[name].after} for name in steps}
    done = {name: f"d{number}" for number, name in enumerate(steps)}
    moves = brute.moves(plans[0])
    assert all(brute.moves(plan) == moves for plan in plans), "moves that differ between builds are not told"

    def one_of(name: str, values: Sequence[str]) -> str:
        return "(" + (" || ".join(f"{names[name]}=={domains[name].index(value)}" for value in values) or "false") + ")"

    def breaks(over: Mapping[str, str]) -> str:
        rules = []
        for rule in procedure.interference:
            if any(name in over and over[name] not in values for name, values in rule.never.items()):
                continue
            rules.append(" && ".join(one_of(n, values) for n, values in rule.never.items() if n not in over) or "true")
        return " || ".join(f"({rule})" for rule in rules) or "false"

    def change(
        guards: Sequence[str], moments: Sequence[Mapping[str, str]], writes: Mapping[str, str], mark: str
    ) -> str:
        bad = " || ".join(f"({breaks(moment)})" for moment in moments)
        written = "".join(f" {names[n]}={domains[n].index(value)};" for n, value in writes.items()) + mark
        if on_paper:
            return f":: d_step {{ {' && '.join(guards) or 'true'} -> assert(!({bad}));{written} }}"
        return f":: d_step {{ {' && '.join([*guards, f'!({bad})'])} ->{written or ' skip;'} }}"

    lines = [f"bool {name};" for name in done.values()] + [f"byte {name};" for name in names.values()]
    lines += ["init {", "if"]
    for plan in plans:
        without = "".join(f" {mark}=true;" for name, mark in done.items() if name not in plan.steps)
        for start in brute.starts(procedure):
            if not brute.breaks_a_rule(procedure, start):
                setting = "".join(f" {names[n]}={domains[n].index(value)};" for n, value in start.items())
                lines.append(f":: d_step {{{setting + without or ' skip;'} }}")
    lines += ["fi;", "do"]
    for step in steps.values():
        guards = [f"!{done[step.id]}", *(done[name] for name in sorted(after[step.id]))]
        guards += [one_of(name, values) for name, values in step.needs.items()]
        lines.append(change(guards, (step.during, step.sets), step.sets, f" {done[step.id]}=true;"))
    for move in moves:
        lines.append(change([one_of(n, values) for n, values in move.needs.items()], (move.sets,), move.sets, ""))
    lines += [f":: {' && '.join(done.values()) or 'true'} -> break", "od", "}"]
    return "\n".join(lines) + "\n"


def run(
    model: str,
    folder: Path,
    *,
    breadth_first: bool = True,
    only_rules: bool = False,
    mebibytes: int = 512,
    seconds: float = 60,
    optimise: str = "",
) -> Ran:
    """Generate, compile and run; the first error ends the run. ``only_rules`` leaves invalid end states alone."""
    (folder / "model.pml").write_text(model, encoding="ascii")
    started = time.perf_counter()
    _tool(["spin", "-a", "model.pml"], folder)
    generated = time.perf_counter()
    how = ["-DBFS"] if breadth_first else []
    _tool(["gcc", *([optimise] if optimise else []), *how, f"-DMEMLIM={mebibytes}", "-w", "-o", "pan", "pan.c"], folder)
    compiled = time.perf_counter()
    options = ([] if breadth_first else ["-m1000000"]) + (["-E"] if only_rules else [])
    try:
        pan = subprocess.run(
            ["./pan", *options], cwd=folder, capture_output=True, text=True, timeout=seconds, check=False,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (2 * mebibytes << 20,) * 2),
        )  # fmt: skip
        said, in_time = pan.stdout + pan.stderr, True
    except subprocess.TimeoutExpired as late:
        said, in_time = (late.stdout or b"").decode(), False
    ended = time.perf_counter()
    error = re.search(r"(?:assertion violated|invalid end state).*\(at depth (\d+)\)", said)
    cut = not in_time or re.search(r"memory|too small|truncated|Search not completed", said.split("State-vector")[0])
    states = re.findall(r"(\d+) states, stored", said)
    memory = re.findall(r"([\d.]+)\s+total actual memory", said)
    return Ran(
        int(error[1]) if error else None,
        not cut or bool(error),
        int(states[-1]) if states else 0,
        generated - started,
        compiled - generated,
        ended - compiled,
        float(memory[-1]) if memory else 0.0,
        said,
    )


def _tool(command: list[str], folder: Path) -> None:
    subprocess.run(command, cwd=folder, check=True, capture_output=True)
