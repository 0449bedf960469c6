"""The sections of a comparison, what matters first.

The order is a judgement (common practice, no source): what may be wrong on the engine, then how it was found, then who
and with what, then how long it took. Lot numbers nearly always differ, so they are last.
"""

from typing import Final

SECTIONS: Final[tuple[tuple[str, tuple[str, ...]], ...]] = (
    ("Procedure", ("procedure",)),
    ("Deviations", ("deviation",)),
    ("Work not done", ("done",)),
    ("Lubricants", ("lubricant",)),
    ("Values", ("reading", "limit")),
    ("Failed fasteners", ("fastener", "repair")),
    ("Joints", ("joint", "figure")),
    ("Notes", ("note", "complaint", "cause")),
    ("Readings taken again", ("attempts",)),
    ("Corrections", ("correction",)),
    ("Rework and remedies", ("redone", "remedy", "discard")),
    ("Time windows", ("window",)),
    ("Pauses", ("pause",)),
    ("Torque wrench adapter", ("adapter",)),
    ("Checks, parts and states", ("check", "choice", "state")),
    ("People and signatures", ("signature", "person", "record")),
    ("Instruments", ("instrument", "calibration")),
    ("Options and start", ("option", "start", "plan")),
    ("Working times", ("time",)),
    ("Lots", ("lot",)),
)
"""The title of each section, and the kinds of differences in it."""

PLACE: Final = {kind: number for number, (_, kinds) in enumerate(SECTIONS) for kind in kinds}
"""The number of the section of each kind."""


def section_of(kind: str) -> str:
    """The title of the section of a kind."""
    return SECTIONS[PLACE[kind]][0]
