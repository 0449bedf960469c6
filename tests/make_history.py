"""Make a shop's history of thirty head installations, as sample data for the review.

    python -m tests.make_history FOLDER
    BENCHFLOW_HOME=FOLDER benchflow review job-2413

Every build sends the same intents as the bench, in simulated time. Readings scatter realistically, the end float of
the intake cam drifts towards its limit, and five builds have one planted fault each. All data is invented. The same
version of the program makes the same history.
"""

import sys
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from random import Random

from msgspec import Struct

from benchflow.session.catalog import new_log_path
from benchflow.session.machine_folders import make_folder
from tests.driving.simulated_builder import CLEAN, Faults, SimulatedBuilder
from tests.review.played_builds import FLOAT, OVERDUE_TOOLS, SHOP, TOOLS, Uncounted, head_install, read

BUILDS = 30
FIRST_JOB = 2401
BEGIN = datetime(2026, 1, 19, 17, 30, tzinfo=UTC)


class Planted(Struct, frozen=True):
    """A planted fault, the operation that the review must name first, and the evidence it must give."""

    faults: Faults
    operation: str
    kinds: tuple[str, ...]
    words: str


PLANTED = (
    Planted(
        Faults(overdue="tighten-head"), "tighten-head", ("instrument-overdue",),
        "the head was tightened with a wrench past its calibration date",
    ),
    Planted(
        Faults(late="set-head-down"), "set-head-down", ("deviation", "window-missed"),
        "the head was set down after the sealant window had closed",
    ),
    Planted(Faults(near_limit=FLOAT), FLOAT, ("near-limit",), "the intake cam end float is just inside its limit"),
    Planted(
        Faults(stage_redone="tighten-head"), "tighten-head", ("ticks-cleared",),
        "one stage of the head nuts was cleared and done again",
    ),
    Planted(
        Faults(self_signed="mark-nuts"), "mark-nuts", ("self-signed",),
        "the builder signed their own hold point on the head nuts",
    ),
)  # fmt: skip
PLANTED_AT = (6, 12, 17, 21, 26)
"""Index (from 0) of the build with each planted fault."""


def planted_in(number: int) -> Planted | None:
    return PLANTED[PLANTED_AT.index(number)] if number in PLANTED_AT else None


def _lot(month: int, name: str, chance: Random) -> str:
    """The lot number in use in that month."""
    return f"{name[:2].upper()}-{700 + month}"


def make(folder: Path, numbers: Iterable[int] = range(BUILDS)) -> list[Path]:
    """Write the history to ``folder``, with the layout of ``BENCHFLOW_HOME``. Returns the logs, the oldest first.

    ``numbers`` are the indexes (from 0) of the builds to write; each build is the same without the others.
    """
    shop = make_folder(folder / "config") / "shop.yaml"
    shop.write_text(SHOP, encoding="utf-8")
    register = Uncounted(shop)
    sessions = make_folder(folder / "data" / "sessions")
    logs: list[Path] = []
    for number in numbers:
        begin = BEGIN + timedelta(days=4 * number)
        unit = f"job {FIRST_JOB + number}"
        log = new_log_path(sessions, "head-install", unit, begin.date())
        planted = planted_in(number)
        sim_builder = SimulatedBuilder(
            head_install(), log, seed=number, begin=begin, read=read(), register=register,
            tools=TOOLS, overdue_tools=OVERDUE_TOOLS, faults=planted.faults if planted else CLEAN,
            lots=partial(_lot, number // 4),
            drift={FLOAT: 0.20 * number / BUILDS},
        )  # fmt: skip
        sim_builder.build(unit)
        logs.append(log)
    return logs


def main() -> int:
    if len(sys.argv) != 2:
        sys.stderr.write("python -m tests.make_history FOLDER\n")
        return 2
    logs = make(Path(sys.argv[1]))
    for number, log in enumerate(logs):
        planted = planted_in(number)
        sys.stdout.write(f"{log.name}{f'   planted: {planted.words}' if planted else ''}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
