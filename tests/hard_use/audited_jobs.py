"""Random jobs whose register, clocks and program runs change in between. The audit of every log finds nothing wrong."""

import random
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

from benchflow.review.audit.audit_log import audit_log
from benchflow.session.controller import SessionController
from benchflow.session.job_register import OtherRegister
from benchflow.session.shop.live_register import Register
from benchflow.session.shop.register import hash_pin
from tests.driving.script import load_text, read_procedure
from tests.driving.session_driver import ManualClock
from tests.hard_use.counts import Counts
from tests.hard_use.random_intents import random_intent
from tests.session.test_acceptance_monkey import PROCEDURE

INTENTS_PER_RUN = 40

# Few rounds of scrypt: only the comparison matters here.
_PIN = hash_pin("2417", bytes(16))
_PEOPLE: dict[str, tuple[str, ...]] = {
    "Robin": ("{roles: [builder]}", "{roles: [builder, inspector]}"),
    "Kim": (
        f"{{roles: [inspector], pin: {_PIN}}}", "{roles: [inspector]}", "{roles: [builder]}",
        "{roles: [inspector], retired: 2026-02-01}", "",
    ),
    "Ida": ("", f"{{roles: [inspector], pin: {_PIN}, pin-changed: '2026-02-01T10:00:00Z'}}"),
}  # fmt: skip
_INSTRUMENTS = (
    "{title: Gauge, kind: length, serial: G-1, range: 0 .. 1 mm, uncertainty: 0.004 mm}",
    "{title: Gauge, kind: length, serial: G-1, range: 0 .. 1 mm, uncertainty: 1 %, coverage-factor: 3}",
    "{title: Gauge, kind: length, serial: G-1, range: 0 .. 1 mm, uncertainty: 1 % of scale}",
    "{title: Gauge, kind: length, serial: G-1, range: 0 .. 1 mm, uncertainty: 0.01 mm, calibration-due: 2026-03-02}",
    "{title: Gauge, kind: length, range: 0 .. 0.12 mm, uncertainty: 0.01 mm}",
    "{title: Gauge, kind: pressure, serial: G-1}",
)
_NEEDS = (
    "instruments: {gauge: {title: Gauge, kind: length, uncertainty: at most 0.02 mm}}",
    "instruments: {gauge: {title: Gauge, kind: length, uncertainty: at most 0.02 mm, unfit: warn}}",
)


def run(seconds: float, seed: int, folder: Path) -> Counts:
    chance, end = random.Random(seed), time.monotonic() + seconds
    tried, notes = 0, list[str]()
    while not tried or time.monotonic() < end:
        tried += 1
        problem = _work_on(folder / f"audited-{tried}.jsonl", folder / f"shop-{tried}.yaml", chance)
        if problem:
            notes.append(f"job {tried}: {problem}")
    return Counts("audits of random jobs with another register", tried, tried - len(notes), tuple(notes))


def _write_shop(path: Path, chance: random.Random, name: str) -> None:
    """Write the register ``name`` with random people and one random instrument; sometimes there is none."""
    people = {person: text for person, forms in _PEOPLE.items() if (text := chance.choice(forms))}
    lines = "".join(f"  {person}: {text}\n" for person, text in people.items())
    body = f"shop: 1\nid: {name * 32}\npeople:\n{lines}instruments:\n  tool: {chance.choice(_INSTRUMENTS)}\n"
    path.write_text(body, encoding="utf-8")


def _work_on(log: Path, shop: Path, chance: random.Random) -> str:
    """Work on a new log in several runs of the program. Returns what the audit finds wrong."""
    text = PROCEDURE.replace(_NEEDS[0], chance.choice(_NEEDS))
    with_register = chance.random() < 0.8
    if with_register:
        _write_shop(shop, chance, "a")
    clock = ManualClock(boot="b0000000-0")
    register = Register(shop)
    controller = SessionController.begin(
        log, load_text(text), file="p.yaml", read=read_procedure, clock=clock, register=register
    )
    controller.send({"intent": "open", "by": "Robin", "unit": "job 1", "start": {"crank": "low"}})
    for run_number in range(chance.choice((1, 3, 5))):
        for _ in range(INTENTS_PER_RUN):
            _change_clock(clock, chance)
            if with_register and chance.random() < 0.03:
                _write_shop(shop, chance, "a")
            controller.send(_intent(chance, controller.saved))
        if chance.random() < 0.7:
            controller.close()
        else:
            controller.journal.close()  # as after a kill: no use of an instrument is counted
        problem = _wrong(log)
        if problem:
            return problem
        if chance.random() < 0.5:
            clock.boot, clock.monotonic_time = f"b000000{run_number + 1}-0", 5.0
        if chance.random() < 0.3:
            with_register = chance.random() < 0.7
            _write_shop(shop, chance, chance.choice("ab")) if with_register else shop.unlink(missing_ok=True)
        controller = _resumed(log, register, clock)
    controller.close()
    return _wrong(log)


def _resumed(log: Path, register: Register, clock: ManualClock) -> SessionController:
    options: dict[str, Any] = {"read": read_procedure, "clock": clock, "register": register}
    try:
        return SessionController.resume(log, **options)
    except OtherRegister:
        return SessionController.resume(log, **options, other_register="the shop moved")


def _change_clock(clock: ManualClock, chance: random.Random) -> None:
    clock.advance(chance.choice((0.4, 1, 5, 40, 900)))
    if chance.random() < 0.05:
        clock.wall_time += timedelta(seconds=chance.choice((-7200, -1, 3, 7200)))


def _intent(chance: random.Random, last: int) -> dict[str, Any]:
    intent = random_intent(chance, last)
    if intent["intent"] in ("sign", "deviate", "correct", "set-state") and chance.random() < 0.6:
        intent.update(by=chance.choice(("Robin", "Kim", "kim", "Ida")), pin=chance.choice(("2417", "2417", "9999")))
    if intent.get("instrument"):
        intent["instrument"] = chance.choice(("gauge", "G-1", "tool", "Gauge"))
    return intent


def _wrong(log: Path) -> str:
    from benchflow.session.log.line_format import read

    parsed = read(log.read_bytes())
    report = audit_log(parsed.lines, read_procedure) if parsed.lines else None
    return "" if report is None or report.ok else f"{log.name}: {report.wrong[0].message}"
