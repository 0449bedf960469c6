"""What can be measured only while an assembly is together: the checklist at the start of a teardown.

Source: common practice, no source.
"""

import re

from msgspec.structs import replace

from benchflow.session.teardown.teardown_record import ChecklistItem

TOGETHER: tuple[ChecklistItem, ...] = (
    ChecklistItem("timing marks", "Turn to the marks. Write what lines up with what, or make your own marks."),
    ChecklistItem("lash", "Valve lash at each valve, or backlash of the gears, at several places.", "length"),
    ChecklistItem("end float", "Push and pull each shaft against a dial gauge.", "length"),
    ChecklistItem("turning torque", "Turn the shaft with a torque wrench: the preload of its bearings.", "torque"),
    ChecklistItem("breakaway", "Torque at which the first fastener of each kind lets go.", "torque"),
    ChecklistItem("leak-down", "Loss of pressure at each cylinder. Write where the air comes out.", "fraction"),
    ChecklistItem("leaks outside", "Where it leaked, and where dirt sticks to oil. Look before you clean."),
)
"""The items that every teardown asks for. Each can be skipped with a reason."""

_NO_ENGINE = re.compile(
    r"\b(?:gear ?box(?:es)?|transmission|transfer (?:case|box)|axle|differential|final drive|pump|compressor)\b", re.I
)
_ENGINE = re.compile(r"\b(?:engine|motor|cylinder|short block|head)\b", re.I)
_ENGINE_ONLY = ("leak-down",)


def checklist_for(what: str) -> tuple[ChecklistItem, ...]:
    """The items for what is taken apart: a gearbox or an axle has no cylinders and no valves."""
    if _NO_ENGINE.search(what) is None or _ENGINE.search(what) is not None:
        return TOGETHER
    return tuple(
        replace(item, ask="Backlash of the gears, at several places.") if item.name == "lash" else item
        for item in TOGETHER if item.name not in _ENGINE_ONLY
    )  # fmt: skip


HAZARDS: tuple[tuple[str, str], ...] = (
    ("danger", "A part that falls crushes. Lift and support each heavy part before its last fastener is out."),
    ("warning", "Springs under load fly off. Use the compressor or the press that the maker names."),
    ("warning", "Fuel, coolant, oil and air can be under pressure. Relieve it before you open a joint."),
    ("caution", "A hot engine burns, and hot aluminium warps. Let it cool down before the first fastener."),
    ("notice", "The maker's manual comes first: its order of loosening, its special tools, its safety rules."),
)
"""What can hurt a person or a part when something is taken apart, by the signal words of ANSI Z535.

Source: common practice, no source.
"""
