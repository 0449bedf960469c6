"""Builds of the shipped head install for these tests, each played once and kept for the run."""

import atexit
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp

from benchflow.procedure.cache import Loaded, read_text
from benchflow.review.account import Account, Read, account, reader
from benchflow.session.register import Register
from tests.review.player import CLEAN, Faults, Player

HEAD_INSTALL = Path(__file__).parents[2] / "procedures" / "head-install.yaml"
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
  bw-1: {title: Beam wrench, kind: torque, serial: BW-1, range: 0 .. 60 N·m, scale: 60 N·m, uncertainty: 4 %,
         calibrated: 2025-11-03, calibration-due: 2026-11-03}
"""
"""Two wrenches for the same work; the calibration of one had run out before the builds began."""

TOOLS = {"torque-wrench": "TW-A"}
OVERDUE_TOOLS = {"torque-wrench": "TW-B"}


@cache
def folder() -> Path:
    """Where the plays of this run lie. On the memory disk where there is one: thousands of fsyncs otherwise."""
    memory = Path("/dev/shm")
    made = Path(mkdtemp(prefix="benchflow-plays-", dir=memory if memory.is_dir() else None))
    atexit.register(rmtree, made, ignore_errors=True)
    return made


@cache
def read() -> Read:
    return reader(folder() / "cache")


@cache
def head_install() -> Loaded:
    """The head install of a shop that has chosen to be warned about an unfit torque wrench, not stopped."""
    text = HEAD_INSTALL.read_text(encoding="utf-8")
    asked = "torque-wrench: {title: Torque wrench, kind: torque,"
    assert asked in text
    return read_text(text.replace(asked, f"{asked} unfit: warn,"), HEAD_INSTALL.name, folder() / "cache")


def played(seed: int = 1, faults: Faults = CLEAN, with_tools: bool = False) -> Path:
    """The log of one whole build."""
    return _played(seed, faults, with_tools)


@cache
def _played(seed: int, faults: Faults, with_tools: bool) -> Path:
    log = folder() / f"{seed}-{abs(hash(faults))}-{with_tools}.jsonl"
    player = Player(
        head_install(), log, seed=seed, begin=BEGIN, read=read(), faults=faults,
        tools=TOOLS if with_tools else {}, overdue_tools=OVERDUE_TOOLS,
    )  # fmt: skip
    player.build(f"job {seed}")
    return log


def told(seed: int = 1, faults: Faults = CLEAN, with_tools: bool = False) -> Account:
    return account(played(seed, faults, with_tools), read())


@cache
def register() -> Register:
    path = folder() / "shop.yaml"
    path.write_text(SHOP, encoding="utf-8")
    return Register(path)
