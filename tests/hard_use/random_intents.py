"""Random plausible intents on one job, with the program started again in between.

After every run the log is whole, a second reading of it gives the same state, and a refusal changed nothing.
"""

import random
import time
from pathlib import Path
from typing import Any

from benchflow.session.controller import SessionController
from benchflow.session.log.log_check import verify
from benchflow.session.log_writer import Accepted
from tests.driving.script import Json, load_text, read_procedure
from tests.driving.session_driver import ManualClock
from tests.hard_use.counts import Counts
from tests.session.test_acceptance_monkey import PROCEDURE

_FIELDS: dict[str, tuple[Any, ...]] = {
    "operation": ("fit", "gap[1]", "gap[2]", "pull", "nothing", None),
    "name": ("gap", "gap[1]", "twice[1]", "shim[1]", "caps", "level"),
    "value": ("0.15 mm", "0.05 mm", "0.25 mm", "0.35 mm", "25 N·m", "5 N·m", "10 N·m", "0.11 mm", "-1 mm", "5 kg", ""),
    "stretch": ("0.11 mm", "0.2 mm", None, None),
    "joint": ("caps", "caps", "lids"), "fastener": (1, 2, 3, None), "stage": (1, 2, None),
    "reading": (1, 2, 3, None, None), "place": (1, 2, None, None), "check": (1, "level", 2),
    "answer": ("yes", "no"), "move": ("turn", "back"), "consumable": ("oil", "seal"), "lot": ("L-1", "L-2"),
    "by": ("Robin", "Kim", None, None), "reason": ("it binds", "", "misread"), "text": ("the phone rang",),
    "about": ("limit", "hold", "gap", "twice", "caps", "caps[1]", "level"), "take": ("thin", "thick"),
    "variable": ("crank", "valves"), "instrument": ("gauge", None, None), "used": (True, False, None),
    "loosened": (True, False), "seated": (True, False), "undo": (True, False), "walk": (True, False),
    "what": ("stripped", "broken", "turning"), "repair": ("insert fitted", ""),
    "extension": ("100 mm", "none"), "lever": ("400 mm", None), "lubricant": ("oil",), "unfinished": ("", "sold"),
}  # fmt: skip

_KINDS: dict[str, tuple[str, ...]] = {
    "start": ("operation",), "pause": (), "finish": (), "move": ("move",),
    "record": ("name", "value", "reading", "place", "instrument", "used"),
    "tick": ("joint", "fastener", "value", "stretch", "stage", "loosened"), "untick": ("joint",),
    "tick-rest": ("joint", "stage"), "stage-again": ("joint",),
    "fastener-failed": ("joint", "fastener", "what", "value"), "repair": ("joint", "fastener", "repair"),
    "draw-down": ("joint", "fastener", "seated"), "tick-check": ("check", "answer", "undo"),
    "choose": ("name", "take"), "lot": ("consumable", "lot"), "sign": ("operation", "by"),
    "deviate": ("operation", "about", "reason", "by"), "remedy": ("name", "fastener", "reading", "place"),
    "rework": ("operation", "reason", "walk"), "rework-step": (), "note": ("text",),
    "correct": ("event", "value", "reason"), "set-state": ("variable", "reason"), "wrench": ("extension", "lever"),
    "lubricant": ("joint", "lubricant"), "status": (), "why": ("operation",), "route": ("operation",),
}  # fmt: skip

INTENTS_PER_RUN = 150


def run(seconds: float, seed: int, folder: Path) -> Counts:
    chance, end = random.Random(seed), time.monotonic() + seconds
    tried, job, notes = 0, 0, list[str]()
    while not job or time.monotonic() < end:
        job += 1
        done, problem = _work_on(folder / f"random-{job}.jsonl", chance)
        tried += done
        if problem:
            notes.append(f"job {job}: {problem}")
    return Counts("random intents", tried, tried - len(notes), tuple(notes))


def random_intent(chance: random.Random, last: int) -> Json:
    """An intent with random fields. ``last`` is the number of the last event of the log."""
    kind = chance.choice(list(_KINDS))
    made: Json = {"intent": kind}
    for name in _KINDS[kind]:
        value = chance.randint(1, last + 1) if name == "event" else chance.choice(_FIELDS[name])
        if value is not None:
            made[name] = value
    if kind == "set-state":
        made["value"] = chance.choice(("top", "low", "shut", "open", None))
    return made


def _work_on(log: Path, chance: random.Random) -> tuple[int, str]:
    """Work on a new log in three runs of the program. Returns the number of intents, and what did not hold."""
    clock, tried = ManualClock(), 0
    controller = SessionController.begin(log, load_text(PROCEDURE), file="p.yaml", read=read_procedure, clock=clock)
    start = {"crank": chance.choice(("top", "low"))}
    controller.send({"intent": "open", "by": "Robin", "unit": "job 1", "start": start})
    for _ in range(3):
        for _ in range(INTENTS_PER_RUN):
            clock.advance(chance.choice((1, 5, 40, 4000)))
            before, intent = log.stat().st_size, random_intent(chance, controller.saved)
            tried += 1
            answer = controller.send(intent)
            if not isinstance(answer, Accepted) and log.stat().st_size != before:
                return tried, f"the refused intent {intent} was logged"
        state = controller.state
        controller.close()
        found = verify(log)
        if found.damage is not None or found.torn:
            return tried, f"the log is damaged: {found.damage}"
        controller = SessionController.resume(log, read=read_procedure, clock=clock)
        if controller.state != state:
            return tried, "another state after the program was started again"
    controller.close()
    return tried, ""
