"""Simulated builds of the shipped head install. Each is made once for a test run."""

import atexit
import os
from collections.abc import Sequence
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp

from benchflow.procedure.compiled_cache import Loaded, read_text
from benchflow.procedure.expand import expand
from benchflow.procedure.model import Procedure
from benchflow.review.log.loaded_log import LoadedLog, load_log
from benchflow.session.log.line_format import Line
from benchflow.session.procedure_loading import ProcedureReader
from benchflow.session.shop.live_register import Register
from tests.driving.shipped import WRITTEN_OUT
from tests.driving.simulated_builder import CLEAN, Faults, SimulatedBuilder

HEAD_INSTALL = WRITTEN_OUT / "head-install.yaml"
BEGIN = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)

SHOP = """\
shop: 1
name: An invented bench
people:
  R. Builder: {roles: [builder, inspector]}
  J. Second: {roles: [builder, inspector]}
instruments:
  tw-a: {title: Click wrench, kind: torque, serial: TW-A, range: 20 .. 120 N·m, uncertainty: 3 %,
         calibrated: 2025-11-03, calibration-due: 2026-11-03}
  tw-b: {title: Old click wrench, kind: torque, serial: TW-B, range: 20 .. 120 N·m, uncertainty: 3 %,
         calibrated: 2025-01-10, calibration-due: 2026-01-10}
  tw-s: {title: Small wrench, kind: torque, serial: TW-S, range: 2 .. 14 N·m, uncertainty: 3 %,
         calibrated: 2025-11-03, calibration-due: 2026-11-03}
  bw-1: {title: Beam wrench, kind: torque, serial: BW-1, range: 0 .. 40 N·m, scale: 30 N·m, uncertainty: 4 %,
         calibrated: 2025-11-03, calibration-due: 2026-11-03}
  ag-1: {title: Angle gauge, kind: angle, serial: AG-1, range: 0 .. 360°, uncertainty: 1°}
  mi-1: {title: Micrometer, kind: length, serial: MI-1, range: 25 .. 50 mm, uncertainty: 0.003 mm}
  hg-1: {title: Height gauge, kind: length, serial: HG-1, range: 0 .. 300 mm, uncertainty: 0.02 mm}
  dg-1: {title: Depth gauge, kind: length, serial: DG-1, range: 0 .. 150 mm, uncertainty: 0.02 mm}
  di-1: {title: Dial indicator, kind: length, serial: DI-1, range: 0 .. 10 mm, uncertainty: 0.006 mm}
  fg-1: {title: Feeler gauges, kind: length, serial: FG-1, range: 0 .. 1 mm, uncertainty: 0.005 mm}
  tg-1: {title: Test gauge, kind: pressure, serial: TG-1, range: 0 .. 4 bar, uncertainty: 0.01 bar}
"""
"""Two wrenches for the same work. The calibration of TW-B is overdue on the day of the builds."""

TOOLS = {
    "torque-wrench": "TW-A", "small-wrench": "TW-S", "beam-wrench": "BW-1", "angle-gauge": "AG-1",
    "micrometer": "MI-1", "height-gauge": "HG-1", "depth-gauge": "DG-1", "dial-indicator": "DI-1",
    "feelers": "FG-1", "test-gauge": "TG-1",
}  # fmt: skip
OVERDUE_TOOLS = {"torque-wrench": "TW-B"}


def folder() -> Path:
    """The folder of this process for its logs, in memory if possible: on a disk, thousands of fsyncs are slow."""
    return _folder_of(os.getpid())


@cache
def _folder_of(process: int) -> Path:
    memory = Path("/dev/shm")
    made = Path(mkdtemp(prefix=f"benchflow-builds-{process}-", dir=memory if memory.is_dir() else None))
    atexit.register(rmtree, made, ignore_errors=True)
    return made


@cache
def read() -> ProcedureReader:
    """The reader of procedures in logs, with a cache for this run."""

    def from_text(text: str) -> Procedure:
        procedure = read_text(text, HEAD_INSTALL.name, folder() / "cache").procedure
        assert procedure is not None
        return procedure

    return from_text


@cache
def head_install() -> Loaded:
    """The head install, changed so that an unfit torque wrench gives a warning and is not refused."""
    text = HEAD_INSTALL.read_text(encoding="utf-8")
    asked = "torque-wrench: {title: Torque wrench, kind: torque,"
    assert asked in text
    return read_text(text.replace(asked, f"{asked} unfit: warn,"), HEAD_INSTALL.name, folder() / "cache")


def played(seed: int = 1, faults: Faults = CLEAN, with_tools: bool = False, registered: bool = True) -> Path:
    """The log of one whole build.

    ``with_tools`` names every instrument. ``registered`` takes the instruments from a register.
    """
    return _played(seed, faults, with_tools, with_tools and registered)


@cache
def _played(seed: int, faults: Faults, with_tools: bool, registered: bool) -> Path:
    log = folder() / f"{seed}-{abs(hash(faults))}-{with_tools}-{registered}.jsonl"
    sim_builder = SimulatedBuilder(
        head_install(), log, seed=seed, begin=BEGIN, read=read(), faults=faults,
        tools=TOOLS if with_tools else {}, overdue_tools=OVERDUE_TOOLS,
        register=register() if registered else None,
    )  # fmt: skip
    sim_builder.build(f"job {seed}")
    return log


def loaded_build(seed: int = 1, faults: Faults = CLEAN, with_tools: bool = False, registered: bool = True) -> LoadedLog:
    return load_log(played(seed, faults, with_tools, registered), read())


class Uncounted(Register):
    """A register that does not count uses: that would rewrite its file thousands of times."""

    def count_uses(self, lines: Sequence[Line]) -> None:
        return


@cache
def register() -> Register:
    path = folder() / "shop.yaml"
    path.write_text(SHOP, encoding="utf-8")
    return Uncounted(path)


def measured(part: str) -> tuple[str, str]:
    """Operation and name of the value of the head install whose name contains ``part``."""
    procedure = head_install().procedure
    assert procedure is not None
    for step in expand(procedure, {"cams": "standard", "gasket": "composite"}).steps.values():
        for record in step.operation.record:
            if part in record.name:
                return step.id, record.name
    raise AssertionError(f"nothing measures {part}")


FLOAT, FLOAT_NAME = measured("float[intake]")
OTHER_FLOAT, _ = measured("float[exhaust]")
