"""Every shipped procedure can be carried out from start to finish on a real log, for every choice of options."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec
import pytest

from benchflow.procedure.compiled_cache import load
from benchflow.procedure.expand import option_choices
from benchflow.session.controller import Accepted, Clock, Desk
from benchflow.session.log.journal import verify
from benchflow.session.state.state import State
from tests.session.bench import read
from tests.session.walker import work_through

LIBRARY = sorted((Path(__file__).parents[2] / "procedures").glob("*.yaml"))


class ManualClock:
    """A clock that moves only when ``forward`` is called."""

    def __init__(self) -> None:
        self.wall, self.mono = datetime(2026, 3, 1, 8, 0, tzinfo=UTC), 0.0
        self.clock = Clock(lambda: self.wall, lambda: self.mono)

    def forward(self, seconds: float) -> None:
        self.wall += timedelta(seconds=seconds)
        self.mono += seconds


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_shipped_procedure_can_be_finished_with_every_choice_of_options(path: Path, tmp_path: Path) -> None:
    source = load(path)
    assert source.procedure is not None
    for number, options in enumerate(option_choices(source.procedure)):
        clock = ManualClock()
        log = tmp_path / f"{number}.jsonl"
        desk = Desk.begin(log, source, file=path.name, read=read, clock=clock.clock)

        def send(intent: dict[str, Any], desk: Desk = desk, clock: ManualClock = clock) -> None:
            clock.forward(1)
            reply = desk.send(intent)
            while not isinstance(reply, Accepted) and {r.code for r in reply.refused} == {"too-early"}:
                clock.forward(300)
                reply = desk.send(intent)
            assert isinstance(reply, Accepted), (intent, reply)

        def state(desk: Desk = desk) -> State:
            assert desk.state is not None
            return desk.state

        def route(goal: str, desk: Desk = desk) -> list[str]:
            reply = desk.send({"intent": "route", "operation": goal})
            assert isinstance(reply, Accepted), (goal, reply)
            found: list[str] = msgspec.to_builtins(reply.answer["route"])
            return found

        start = {v.name: v.values[0] for v in source.procedure.state if v.start is None}
        send({"intent": "open", "by": "Robin", "unit": "2417", "options": options, "start": start})
        work_through(state, send, route)
        send({"intent": "close", "by": "Robin"})
        found = verify(log)
        assert found.damage is None
        assert found.events == desk.saved
