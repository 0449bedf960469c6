"""Ten invented jobs by one small procedure, for revisions: notes, remedies, times, figures and a come-back."""

from pathlib import Path
from typing import Any

from tests.driving.clocked_job import ClockedJob

JOBS = 10

GEARBOX = """\
# An invented gearbox. Everything in it is made up.
benchflow: 1
id: gearbox
title: Gearbox of the trials   # a title with a comment
revision: "B"
failures:
  leaks: {text: It leaks oil}

places: {shaft: [input, output]}
joints:
  cover: {layout:   "1 3 4 2"}   # aligned by hand

sections:
- title: Shafts
  operations:
  # The shafts come first.
  - id: clean
    title: Clean the case
    takes: 5 min     # a guess

  - {id: shim, title: Shim the shafts, after: clean,
     record: {play: {unit: mm, limit: 0.10 .. 0.20 mm, above: [{do: Fit a thicker shim}]}}}
  - id: seal
    title: Fit the seal
    after: shim
    do: |
      Oil the lip.
      Press it in square.
    check:
    - The lip is dry
    - {see: The spring sits in its groove, if not: [{do: Press the spring back}]}
- title: Cover
  operations:
  - id: close-cover
    title: Close the cover
    after: seal
    tighten:
      joint: cover
      stages:
      - {torque: ask}   # not in the manual
  - {id: plate, title: Rivet the plate, after: seal}
"""
"""Two sections without a blank between, a flow mapping over two lines, comments at ends of lines, a block text."""


def done_job(folder: Path, number: int, text: str = GEARBOX) -> Path:
    """The log of job ``number``, from 1: closed without the plate. Odd ones have notes and remedies."""
    folder.mkdir(parents=True, exist_ok=True)
    job = ClockedJob(folder, text, unit=f"job {number}")
    job.do("start", operation="clean")
    job.wait(13 + number % 3).do("finish")
    if number % 2:
        job.do("note", text=f"The case has burrs at the drain, {number}", operation="clean", change=True)
    job.do("start", operation="shim")
    if number > 3:
        job.do("record", name="play", value="0.24 mm")
        job.do("remedy", name="play")
    job.do("record", name="play", value="0.19 mm")
    job.do("finish")
    job.do("start", operation="seal")
    if number % 3 == 0:
        job.do("tick-check", check=2, answer="no")
        job.do("remedy", name="check 2")
    job.do("tick-check", check=1)
    job.do("tick-check", check=2)
    job.do("finish")
    job.do("start", operation="close-cover")
    job.do("figure", joint="cover", stage=1, value="24 N·m", **{"from": "bulletin 4"})
    for fastener in range(1, 5):
        job.do("tick", joint="cover", fastener=fastener)
    job.do("finish")
    job.do("close", unfinished="The customer has no plate")
    if number == 4:
        job.do(
            "found",
            complaint="leaks oil",
            finding="The lip was turned over",
            outcome="ours",
            operation="seal",
            by="Kim",
        )
    job.driver.controller.close()
    return job.path


def done_jobs(folder: Path, text: str = GEARBOX, jobs: int = JOBS) -> list[Path]:
    """The logs of the jobs, each in a folder of its own."""
    return [done_job(folder / f"{number:02d}", number, text) for number in range(1, jobs + 1)]


def open_job(folder: Path, text: str = GEARBOX, **opened: Any) -> Path:
    """The log of a job that is still open."""
    folder.mkdir(parents=True, exist_ok=True)
    job = ClockedJob(folder, text, **{"unit": "job 99", **opened})
    job.driver.controller.close()
    return job.path
