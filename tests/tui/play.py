"""Sessions that stand where a test or a picture wants them: real desks on real logs, worked through by intents."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from benchflow.session.controller import Accepted, Clock, Desk
from benchflow.session.procedure_loading import load_procedure, reader
from benchflow.session.state.state import State
from tests.session.walker import choose, entries

START = datetime(2030, 3, 4, 17, 12, tzinfo=UTC)
LIBRARY = Path(__file__).parents[2] / "procedures"


class Hands:
    """Does at a desk what it is told, and must not be refused. Its clock goes on by ``pace`` at every intent."""

    def __init__(
        self, log: Path, procedure: str, pace: timedelta = timedelta(seconds=40), start: datetime = START
    ) -> None:
        self.moment = start
        self.pace = pace
        clock = Clock(lambda: self.moment, lambda: self.moment.timestamp())
        path = LIBRARY / f"{procedure}.yaml"
        self.desk = Desk.begin(log, load_procedure(path), file=path.name, read=reader(), clock=clock)

    @property
    def state(self) -> State:
        assert self.desk.state is not None
        return self.desk.state

    def send(self, intent: dict[str, Any]) -> dict[str, Any]:
        self.moment += self.pace
        answer = self.desk.send(intent)
        assert isinstance(answer, Accepted), answer
        return answer.answer

    def _do(self, intent: dict[str, Any]) -> None:
        self.send(intent)

    def open(self, unit: str = "job 2417", **start: str | None) -> None:
        options = {option.name: option.choices[0] for option in self.desk.procedure.options}
        self.send({"intent": "open", "by": "R. Tiller", "unit": unit, "options": options, "start": start})

    def work_to(self, goal: str, *, before: bool = False) -> None:
        """Everything on the shortest safe way to ``goal`` is done, and ``goal`` taken up (not with ``before``)."""
        while True:
            name = self.send({"intent": "route", "operation": goal})["route"][0]
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

    def _wait_for(self, name: str) -> None:
        """Let the time go by that has to."""
        while any(why["code"] == "too-early" for why in self.send({"intent": "why", "operation": name})["why"]):
            self.moment += timedelta(minutes=1)

    def finish(self, name: str, entering: int | None = None) -> None:
        """Enter all that the operation in hand wants, or the first ``entering`` of it (-1: all but the signature)
        and then stop there."""
        step = self.state.plan.steps[name]
        for number, entry in enumerate(entries(self.state, step)):
            if number == entering:
                return
            self.send(entry)
        choose(self.state, step, self._do)
        if entering == -1:
            return
        if step.operation.hold is not None:
            self.send({"intent": "sign", "operation": name, "by": "K. Lathe"})
        self.send({"intent": "finish", "operation": name})
