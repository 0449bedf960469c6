"""A shop's history, made by driving thirty builds of the head install: something to try the review on.

    python -m tests.make_history FOLDER
    BENCHFLOW_HOME=FOLDER benchflow review job-2413

Every build goes through the same intents and the same desk as at a bench, in simulated time. What is measured has
believable scatter, the intake cam's float creeps towards its limit, and five builds have one planted fault each.
All of it is invented. The same version of the program makes the same history.
"""

import sys
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from random import Random

from msgspec import Struct

from benchflow.session.catalog import make_folder, new_log_path
from tests.review.player import CLEAN, Faults, Player
from tests.review.plays import FLOAT, OVERDUE_TOOLS, SHOP, TOOLS, Uncounted, head_install, read

BUILDS = 30
FIRST_JOB = 2401
BEGIN = datetime(2026, 1, 19, 17, 30, tzinfo=UTC)


class Planted(Struct, frozen=True):
    """A fault, where the review has to name it first, and by which ground."""

    faults: Faults
    operation: str
    kinds: tuple[str, ...]
    words: str


PLANTED = (
    Planted(
        Faults(overdue="tighten-head"), "tighten-head", ("instrument-overdue",),
        "the head was tightened with a wrench whose calibration had run out",
    ),
    Planted(
        Faults(late="set-head-down"), "set-head-down", ("deviation", "window-missed"),
        "the head came down after the sealant's window had closed",
    ),
    Planted(Faults(near_limit=FLOAT), FLOAT, ("near-limit",), "the intake cam's float lies just inside its limit"),
    Planted(
        Faults(stage_redone="tighten-head"), "tighten-head", ("redone",),
        "a whole stage of the head nuts was taken back and done again",
    ),
    Planted(
        Faults(self_signed="mark-nuts"), "mark-nuts", ("self-signed",),
        "the builder signed the hold point on the head nuts himself",
    ),
)  # fmt: skip
WHERE = (6, 12, 17, 21, 26)
"""Which of the builds (from 0) have them."""


def planted_in(number: int) -> Planted | None:
    return PLANTED[WHERE.index(number)] if number in WHERE else None


def _lot(month: int, name: str, chance: Random) -> str:
    """A tube or a box of it lasts about a month."""
    return f"{name[:2].upper()}-{700 + month}"


def make(folder: Path, builds: int = BUILDS) -> list[Path]:
    """The history under ``folder``, laid out as ``BENCHFLOW_HOME`` is. Returns the logs, oldest first."""
    shop = make_folder(folder / "config") / "shop.yaml"
    shop.write_text(SHOP, encoding="utf-8")
    register = Uncounted(shop)
    sessions = make_folder(folder / "data" / "sessions")
    logs: list[Path] = []
    for number in range(builds):
        begin = BEGIN + timedelta(days=4 * number)
        unit = f"job {FIRST_JOB + number}"
        log = new_log_path(sessions, "head-install", unit, begin.date())
        planted = planted_in(number)
        player = Player(
            head_install(), log, seed=number, begin=begin, read=read(), register=register,
            tools=TOOLS, overdue_tools=OVERDUE_TOOLS, faults=planted.faults if planted else CLEAN,
            lots=partial(_lot, number // 4),
            creep={FLOAT: 0.20 * number / builds},
        )  # fmt: skip
        player.build(unit)
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
