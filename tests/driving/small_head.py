"""A small procedure that uses most features of the format, and a session of it on a real log file.

The engine and its numbers are invented.
"""

from pathlib import Path
from typing import Any

from benchflow.session.controller import SessionController
from tests.driving.session_driver import ManualClock, SessionDriver, load_text, read_procedure

SMALL_HEAD = """\
benchflow: 1
id: small-head
title: Small head
revision: "1"
notice: Invented for the tests.
options:
  cams: {ask: Which cams?, choices: [standard, reground]}
places: {cylinder: [1, 2]}
state:
  pistons: {values: [at-deck, down], start: ask, ask: Where are the pistons?}
  valves: {values: [shut, open], start: shut}
interference:
- never: {pistons: at-deck, valves: open}
  because: an open valve would reach them
moves:
  turn-down: {title: Turn the pistons down, sets: {pistons: down}}
kit:
  consumables:
    sealant: {title: Sealant, lot: required}
instruments:
  gauge: {title: Gauge, kind: length, uncertainty: at most 0.004 mm}
  wrench: {title: Wrench, kind: torque, covers: 20 .. 120 N·m}
joints:
  studs: {title: Studs, layout: "3 1 2 4", groups: {inner: [1, 2]}}
failures: {leak: It leaks}
sections:
- id: all
  title: All
  operations:
  - id: seal
    title: Seal the corners
    uses: [sealant]
    undo: {do: Wipe it off, discard: [sealant]}
  - id: lower
    title: Lower the head
    after: [seal]
    time: {seal: at most 10 min}
    takes: 2 min
    undo: {do: Lift it off}
  - id: tighten
    title: Tighten the studs
    after: [lower]
    tighten:
      joint: studs
      stages: [20 N·m, {torque: 40 N·m, only: inner}, {check: at least 30 N·m}]
    undo: {do: Loosen the studs}
  - id: seat-cam
    title: Seat the cam
    after: [tighten]
    during: {valves: open}
    sets: {valves: open}
    check: [The cam turns freely, The caps are flush]
    undo: {do: Lift the cam out, sets: {valves: shut}}
  - id: measure
    title: Measure no. {cylinder}
    each: cylinder
    after: [tighten]
    record:
      lash: {ask: Lash, unit: mm, limit: 0.20 .. 0.30 mm, decision: guarded, with: gauge}
      runout: {ask: Run-out, unit: mm, limit: at most 0.05 mm, readings: 3, judge: mean}
    undo: {do: Measure again}
  - id: cure
    title: Let it cure
    after: [lower]
    time: {lower: 1 h .. 24 h}
    hold: {by: inspector, for: the joint}
    undo: {do: No parts need to be removed}
  - id: hold-chain
    title: Hold the chain up
    temporary: {restored-by: let-chain-down}
  - id: let-chain-down
    title: Let the chain down
    after: [hold-chain]
  - id: only-reground
    title: Set the lash caps
    when: {cams: reground}
"""


class SmallHead(SessionDriver):
    """Shortcuts through the procedure :data:`SMALL_HEAD`."""

    def tighten(self) -> None:
        """Tighten the whole joint: all four fasteners, then the inner two, then the check of all four."""
        self.do("start", operation="tighten")
        for fastener in (1, 2, 3, 4, 1, 2):
            self.do("tick", joint="studs", fastener=fastener)
        for fastener in (1, 2, 3, 4):
            self.do("tick", joint="studs", fastener=fastener, value="35 N·m")
        self.do("finish", operation="tighten")

    def lower_head(self) -> None:
        """Apply the sealant and lower the head."""
        self.do("start", operation="seal")
        self.do("lot", consumable="sealant", lot="0042")
        self.do("finish", operation="seal")
        self.work("lower")

    def lower_and_tighten(self) -> None:
        """Apply the sealant, lower the head and tighten the joint."""
        self.lower_head()
        self.tighten()


def start_session(folder: Path, text: str = SMALL_HEAD, *, opened: bool = True, **answers: Any) -> SmallHead:
    """A new session of the procedure in ``text``.

    ``answers`` replace fields of the intent `open`. If ``opened`` is false, no `open` is sent.
    """
    clock = ManualClock()
    controller = SessionController.begin(
        folder / "build.jsonl", load_text(text), file="small.yaml", read=read_procedure, clock=clock
    )
    driver = SmallHead(controller, clock)
    if opened:
        given = {"by": "Robin", "unit": "2417", "options": {"cams": "standard"}, "start": {"pistons": "at-deck"}}
        driver.do("open", **(given | answers))
    return driver


def resume_session(driver: SessionDriver) -> SmallHead:
    """The log of ``driver``, opened again by a new run of the program, after the machine was started again."""
    driver.controller.close()
    clock = ManualClock(driver.clock.wall_time, monotonic=5.0, boot="0b00710e-0002")
    return SmallHead(SessionController.resume(driver.controller.journal.path, read=read_procedure, clock=clock), clock)
