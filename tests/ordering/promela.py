"""Translates a plan to a model for the model checker spin, and runs spin within limits of time and memory."""

import re
import resource
import shutil
import subprocess
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

from msgspec import Struct

from benchflow.procedure.plan import Plan
from tests.ordering import brute_force

AVAILABLE = bool(shutil.which("spin") and shutil.which("gcc"))


class SpinRun(Struct, frozen=True):
    """The result of a run of spin.

    ``depth`` is the depth of the first error, ``None`` if there is none. In a breadth-first search it is the least
    depth. It is the number of steps of the plan up to and including the error: spin counts the choice of the start, but
    not the step that violates an assertion. ``complete`` is false if a limit ended the run. Times are in seconds of
    wall clock, ``memory`` is in mebibytes.
    """

    depth: int | None
    complete: bool
    states: int
    generating: float
    compiling: float
    running: float
    memory: float
    output: str

    @property
    def seconds(self) -> float:
        return self.generating + self.compiling + self.running


def promela_model(*plans: Plan, on_paper: bool) -> str:
    """The plans of one procedure as one model. A step that is not part of a build counts as done from its start.

    With ``on_paper`` the model has an assertion: no step that `after` and `needs` allow breaks a rule. Without it the
    interlock blocks such steps, and the invalid end states of spin are the dead ends.
    """
    procedure = plans[0].procedure
    domains = {v.name: v.values for v in procedure.state}
    names = {name: f"v{number}" for number, name in enumerate(domains)}
    steps = {step.id: step for plan in plans for step in plan.steps.values()}
    after = {name: {a for plan in plans if name in plan.steps for a in plan.steps[name].after} for name in steps}
    done = {name: f"d{number}" for number, name in enumerate(steps)}
    moves = brute_force.moves(plans[0])
    assert all(brute_force.moves(plan) == moves for plan in plans), "the builds must have the same moves"

    def one_of(name: str, values: Sequence[str]) -> str:
        return "(" + (" || ".join(f"{names[name]}=={domains[name].index(value)}" for value in values) or "false") + ")"

    def rule_condition(written: Mapping[str, str]) -> str:
        rules = []
        for rule in procedure.interference:
            if any(name in written and written[name] not in values for name, values in rule.never.items()):
                continue
            rules.append(
                " && ".join(one_of(n, values) for n, values in rule.never.items() if n not in written) or "true"
            )
        return " || ".join(f"({rule})" for rule in rules) or "false"

    def change(guards: Sequence[str], phases: Sequence[Mapping[str, str]], writes: Mapping[str, str], mark: str) -> str:
        bad = " || ".join(f"({rule_condition(phase)})" for phase in phases)
        written = "".join(f" {names[n]}={domains[n].index(value)};" for n, value in writes.items()) + mark
        if on_paper:
            return f":: d_step {{ {' && '.join(guards) or 'true'} -> assert(!({bad}));{written} }}"
        return f":: d_step {{ {' && '.join([*guards, f'!({bad})'])} ->{written or ' skip;'} }}"

    lines = [f"bool {name};" for name in done.values()] + [f"byte {name};" for name in names.values()]
    lines += ["init {", "if"]
    for plan in plans:
        without = "".join(f" {mark}=true;" for name, mark in done.items() if name not in plan.steps)
        for start in brute_force.starts(procedure):
            if not brute_force.breaks_a_rule(procedure, start):
                setting = "".join(f" {names[n]}={domains[n].index(value)};" for n, value in start.items())
                lines.append(f":: d_step {{{setting + without or ' skip;'} }}")
    lines += ["fi;", "do"]
    for step in steps.values():
        guards = [f"!{done[step.id]}", *(done[name] for name in sorted(after[step.id]))]
        guards += [one_of(name, values) for name, values in step.needs.items()]
        lines.append(change(guards, (step.during, step.sets), step.sets, f" {done[step.id]}=true;"))
    for move in moves:
        moved = (move.during, move.sets) if move.during else (move.sets,)
        lines.append(change([one_of(n, values) for n, values in move.needs.items()], moved, move.sets, ""))
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
) -> SpinRun:
    """Generate, compile and run the model. The first error ends the run. ``only_rules`` ignores invalid end states."""
    (folder / "model.pml").write_text(model, encoding="ascii")
    started = time.perf_counter()
    _run_tool(["spin", "-a", "model.pml"], folder)
    generated = time.perf_counter()
    search_flags = ["-DBFS"] if breadth_first else []
    _run_tool(
        ["gcc", *([optimise] if optimise else []), *search_flags, f"-DMEMLIM={mebibytes}", "-w", "-o", "pan", "pan.c"],
        folder,
    )
    compiled = time.perf_counter()
    options = ([] if breadth_first else ["-m1000000"]) + (["-E"] if only_rules else [])
    try:
        pan = subprocess.run(
            ["./pan", *options], cwd=folder, capture_output=True, text=True, timeout=seconds, check=False,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (2 * mebibytes << 20,) * 2),
        )  # fmt: skip
        output, in_time = pan.stdout + pan.stderr, True
    except subprocess.TimeoutExpired as late:
        output, in_time = (late.stdout or b"").decode(), False
    ended = time.perf_counter()
    error = re.search(r"(?:assertion violated|invalid end state).*\(at depth (\d+)\)", output)
    cut = not in_time or re.search(r"memory|too small|truncated|Search not completed", output.split("State-vector")[0])
    states = re.findall(r"(\d+) states, stored", output)
    memory = re.findall(r"([\d.]+)\s+total actual memory", output)
    return SpinRun(
        int(error[1]) if error else None,
        not cut or bool(error),
        int(states[-1]) if states else 0,
        generated - started,
        compiled - generated,
        ended - compiled,
        float(memory[-1]) if memory else 0.0,
        output,
    )


def _run_tool(command: list[str], folder: Path) -> None:
    subprocess.run(command, cwd=folder, check=True, capture_output=True)
