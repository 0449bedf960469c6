"""An invented cover whose figures come from two documents, with a job that tightens it."""

from pathlib import Path

from tests.driving.script import Json, Script, intent, open_intent

PROCEDURE = """\
benchflow: 1
id: sourced-cover
title: Cover with sources
revision: "A"
notice: Every figure is invented.
source: manual, chapter 4
documents:
  manual: {title: Workshop manual, edition: "3", date: 2024-05-01}
  bulletin: {title: Stud supplier's sheet, edition: "2025-02"}
joints:
  head-nuts: {pattern: star 4, nut-factor: 0.15, source: bulletin p. 1}
  cover: {pattern: star 4}
sections:
- title: All
  operations:
  - id: measure
    title: Measure
    record:
      gap: {unit: mm, limit: 0.10 .. 0.28 mm, source: manual p. 4-21}
      play: {unit: mm, limit: at most 0.30 mm, source: "own choice, because the shaft is new"}
      width: {unit: mm, limit: at most 9 mm}
    choose:
      gasket: {by: gap, from: [{at least: 0 mm, up to: 1 mm, take: thin}, {take: thick}], source: bulletin table 3}
  - id: tighten
    title: Tighten
    time: {measure: {limit: at most 24 h, source: bulletin p. 7}}
    tighten: {joint: head-nuts, stages: [10 N·m, {torque: 20 N·m, source: own choice}, {torque: ask}]}
  - {id: close, title: Close, tighten: {joint: cover, stages: [5 N·m, 8 N·m]}}
"""


def open_cover(folder: Path, procedure: str = PROCEDURE, unit: str = "E1") -> Script:
    """A job that has just begun, in a folder of its own."""
    folder.mkdir(parents=True, exist_ok=True)
    script = Script(folder, procedure)
    script.do_all(open_intent(unit=unit))
    return script


def ticks(joint: str, stages: int) -> list[Json]:
    return [intent("tick", joint=joint, fastener=number) for _ in range(stages) for number in (1, 2, 3, 4)]


def measure(script: Script) -> None:
    """Do the first operation."""
    script.do_all(
        intent("start", operation="measure"),
        intent("record", name="gap", value="0.15 mm"),
        intent("record", name="play", value="0.25 mm"),
        intent("record", name="width", value="8 mm"),
        intent("choose", name="gasket", take="thin"),
        intent("finish", operation="measure"),
    )


def tighten(script: Script, given: str = "33 N·m", source: str = "bulletin p. 3") -> None:
    """Do the second operation. The torque of its last stage is given at the bench."""
    script.do_all(
        intent("start", operation="tighten"),
        *ticks("head-nuts", 2),
        intent("figure", joint="head-nuts", stage=3, value=given, **{"from": source}),
        *ticks("head-nuts", 1),
        intent("finish", operation="tighten"),
    )
