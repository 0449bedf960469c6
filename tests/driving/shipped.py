"""Works through shipped procedures by intents, with a real controller and a real log."""

from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from benchflow.procedure.compiled_cache import load
from benchflow.procedure.expand import expand, option_choices
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from benchflow.session.controller import SessionController
from benchflow.session.procedure_loading import load_procedure, procedure_reader
from tests.driving.entries import choices, entries
from tests.driving.session_driver import ManualClock, SessionDriver

EVENING = datetime(2030, 3, 4, 17, 12, tzinfo=UTC)
LIBRARY = Path(__file__).parents[2] / "procedures"
WRITTEN_OUT = Path(__file__).parents[1] / "procedure" / "written_out"
"""The shipped procedures without blocks, for tests that read or change their text. The content is the same."""


@cache
def shipped_procedure(path: Path) -> Procedure:
    """The procedure in ``path``, read once in each process: writing out its blocks takes half a second."""
    loaded = load(path)
    assert loaded.procedure is not None, [str(problem) for problem in loaded.problems]
    return loaded.procedure


@cache
def shipped_plans(path: Path) -> tuple[Plan, ...]:
    """The plan of the procedure in ``path`` for each combination of its options."""
    procedure = shipped_procedure(path)
    return tuple(expand(procedure, options) for options in option_choices(procedure))


class ShippedBuild(SessionDriver):
    """A session of the shipped procedure named ``procedure``, on the new log ``log``."""

    def __init__(self, log: Path, procedure: str, pace: float = 40.0, start: datetime = EVENING) -> None:
        clock = ManualClock(start)
        path = LIBRARY / f"{procedure}.yaml"
        super().__init__(
            SessionController.begin(log, load_procedure(path), file=path.name, read=procedure_reader(), clock=clock),
            clock,
            pace,
        )

    def open(self, unit: str = "job 2417", options: dict[str, str] | None = None, **start: str | None) -> None:
        """Open the job. Options and asked start values that are not given get their first choice."""
        procedure = self.controller.procedure
        first_choices = {option.name: option.choices[0] for option in procedure.options}
        first_values = {variable.name: variable.values[0] for variable in procedure.state if variable.start is None}
        answers = {"options": first_choices | (options or {}), "start": first_values | start}
        self.send({"intent": "open", "by": "R. Tiller", "unit": unit, **answers})

    def next_on_route(self, goal: str) -> str:
        """The next operation or move on the shortest safe route to ``goal``."""
        route: list[str] = self.send({"intent": "route", "operation": goal})["route"]
        return route[0]

    def work_to(self, goal: str, *, before: bool = False) -> None:
        """Do everything on the shortest safe route to ``goal``, and start ``goal`` (not with ``before``)."""
        while True:
            name = self.next_on_route(goal)
            if name not in self.state.plan.steps:
                self.send({"intent": "move", "move": name})
                continue
            self._wait_for(name)
            if name == goal and before:
                return
            self.send({"intent": "start", "operation": name})
            if name == goal:
                return
            self.finish(name)

    def work_through(self) -> list[str]:
        """Do every operation, in the order of the procedure. Returns the operations and moves, in the order done."""
        done_actions: list[str] = []
        for goal in list(self.state.plan.steps):
            while goal in self.state.plan.steps and goal not in self.state.done:
                name = self.next_on_route(goal)
                done_actions.append(name)
                if name in self.state.plan.steps:
                    self._wait_for(name)
                    self.send({"intent": "start", "operation": name})
                    self.finish(name)
                else:
                    self.send({"intent": "move", "move": name})
        return done_actions

    def _wait_for(self, name: str) -> None:
        """Advance the clock until no time window requires ``name`` to wait."""
        while any(why["code"] == "too-early" for why in self.send({"intent": "why", "operation": name})["why"]):
            self.clock.advance(60)

    def finish(self, name: str, entering: int | None = None) -> None:
        """Make all entries of the operation in progress, sign its hold and finish it.

        ``entering`` stops after this number of entries; -1 stops after all entries, before the signature.
        """
        step = self.state.plan.steps[name]
        for number, entry in enumerate(entries(self.state, step)):
            if number == entering:
                return
            self.send(entry)
        for choice in choices(self.state, step):
            self.send(choice)
        if entering == -1:
            return
        if step.operation.hold is not None:
            self.send({"intent": "sign", "operation": name, "by": "K. Lathe"})
        self.send({"intent": "finish", "operation": name})
