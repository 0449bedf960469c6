"""The standard threads: diameters with their pitches, and what is wrong with a thread that is not one of them."""

from fractions import Fraction

from benchflow.base.plaintext import listed
from benchflow.trade.calculations.threads import NUMBERED_SIZES, Thread

METRIC_PITCHES: dict[str, str] = {
    "1": "0.25 0.2", "1.1": "0.25 0.2", "1.2": "0.25 0.2", "1.4": "0.3 0.2", "1.6": "0.35 0.2", "1.8": "0.35 0.2",
    "2": "0.4 0.25", "2.2": "0.45 0.25", "2.5": "0.45 0.35", "3": "0.5 0.35", "3.5": "0.6 0.35", "4": "0.7 0.5",
    "4.5": "0.75 0.5", "5": "0.8 0.5", "5.5": "0.5", "6": "1 0.75", "7": "1 0.75", "8": "1.25 1 0.75",
    "9": "1.25 1 0.75", "10": "1.5 1.25 1 0.75", "11": "1.5 1 0.75", "12": "1.75 1.5 1.25 1", "14": "2 1.5 1.25 1",
    "15": "1.5 1", "16": "2 1.5 1", "17": "1.5 1", "18": "2.5 2 1.5 1", "20": "2.5 2 1.5 1", "22": "2.5 2 1.5 1",
    "24": "3 2 1.5 1", "25": "2 1.5 1", "26": "1.5", "27": "3 2 1.5 1", "28": "2 1.5 1", "30": "3.5 3 2 1.5 1",
    "32": "2 1.5", "33": "3.5 3 2 1.5", "35": "1.5", "36": "4 3 2 1.5", "38": "1.5", "39": "4 3 2 1.5",
    "40": "3 2 1.5", "42": "4.5 4 3 2 1.5", "45": "4.5 4 3 2 1.5", "48": "5 4 3 2 1.5", "50": "3 2 1.5",
    "52": "5 4 3 2 1.5", "55": "4 3 2 1.5", "56": "5.5 4 3 2 1.5", "58": "4 3 2 1.5", "60": "5.5 4 3 2 1.5",
    "62": "4 3 2 1.5", "64": "6 4 3 2 1.5", "65": "4 3 2 1.5", "68": "6 4 3 2 1.5",
}  # fmt: skip
"""Pitches by diameter, both in mm, the coarse pitch first if there is one (ISO 261; from memory)."""

_SERIES: dict[str, dict[str, str]] = {
    "UNC": {
        "1/4": "20", "5/16": "18", "3/8": "16", "7/16": "14", "1/2": "13", "9/16": "12", "5/8": "11", "3/4": "10",
        "7/8": "9", "1": "8", "9/8": "7", "5/4": "7", "11/8": "6", "3/2": "6", "7/4": "5", "2": "4.5", "9/4": "4.5",
        "5/2": "4", "11/4": "4", "3": "4", "13/4": "4", "7/2": "4", "15/4": "4", "4": "4",
    },
    "UNF": {
        "1/4": "28", "5/16": "24", "3/8": "24", "7/16": "20", "1/2": "20", "9/16": "18", "5/8": "18", "3/4": "16",
        "7/8": "14", "1": "12", "9/8": "12", "5/4": "12", "11/8": "12", "3/2": "12",
    },
    "UNEF": {
        "1/4": "32", "5/16": "32", "3/8": "32", "7/16": "28", "1/2": "28", "9/16": "24", "5/8": "24", "11/16": "24",
        "3/4": "20", "13/16": "20", "7/8": "20", "15/16": "20", "1": "20", "17/16": "18", "9/8": "18", "19/16": "18",
        "5/4": "18", "21/16": "18", "11/8": "18", "23/16": "18", "3/2": "18", "25/16": "18", "13/8": "18",
        "27/16": "18",
    },
    "UNS": {"1": "14"},
}  # fmt: skip
"""Threads per inch by diameter in inches (ASME B1.1; from memory). 1-14 UNS is the only special one in common use."""

_CONSTANT_PITCH: dict[str, Fraction] = {
    "4": Fraction(5, 2), "6": Fraction(11, 8), "8": Fraction(1), "12": Fraction(9, 16), "16": Fraction(3, 8),
    "20": Fraction(1, 4), "28": Fraction(1, 4), "32": Fraction(1, 4),
}  # fmt: skip
"""Threads per inch of the constant-pitch series, with the smallest diameter in inches (ASME B1.1; from memory)."""


def thread_problem(thread: Thread) -> str:
    """Return what is wrong with a thread that no table has, as a clause, "" for a standard or a special thread.

    Source: ISO 261 and ASME B1.1 (from memory).
    """
    if thread.special:
        return ""
    if thread.system == "metric":
        return _metric_problem(thread)
    return _unified_problem(thread)


def special_hint(thread: Thread) -> str:
    """Return the hint that belongs to :func:`thread_problem`."""
    mark = " special" if thread.system == "metric" else " UNS"
    return f"If it really is a special thread, write {thread.name}{mark}."


def _metric_problem(thread: Thread) -> str:
    size = thread.size.removeprefix("M")
    pitches = METRIC_PITCHES.get(size, "").split()
    if not pitches:
        if thread.diameter > 68 and thread.pitch in (1.5, 2, 3, 4, 6):
            return ""  # ISO 261 goes on to 300 mm with these pitches
        return f"{thread.size} is not a size of ISO 261"
    if thread.pitch not in map(float, pitches):
        pitch = thread.name.partition("x")[2]
        return f"{thread.size} has a pitch of {listed(pitches, 'or')} mm (ISO 261), not {pitch} mm"
    return ""


def _unified_problem(thread: Thread) -> str:
    per_inch = thread.name.rpartition("-")[2]
    found = _series_of(thread, per_inch)
    name = thread.series.replace("J", "").replace("R", "")
    wanted = {"NC": "UNC", "NF": "UNF"}.get(name, name)
    if wanted in _SERIES and wanted != found:
        return f"{thread.name} is {found or 'not a standard thread'}, not {thread.series}"
    if found:
        return ""
    return f"{thread.name} is not in the thread series of ASME B1.1"


def _series_of(thread: Thread, per_inch: str) -> str:
    """Return UNC, UNF, UNEF or UN, "" if no series has the thread."""
    if thread.size.startswith("#"):
        return _numbered_series(thread.size[1:], per_inch)
    diameter = Fraction(round(thread.diameter * 10_000), 10_000)
    sixteenths = Fraction(round(diameter * 16), 16)
    if abs(diameter - sixteenths) > Fraction(6, 100_000) or diameter > 6:
        return ""
    for series, table in _SERIES.items():
        if table.get(str(sixteenths)) == per_inch:
            return series
    smallest = _CONSTANT_PITCH.get(per_inch)
    return "UN" if smallest is not None and sixteenths >= smallest else ""


def _numbered_series(number: str, per_inch: str) -> str:
    pitches = NUMBERED_SIZES[number]
    if per_inch not in pitches:
        return ""
    if number == "0":
        return "UNF"
    return ("UNC", "UNF", "UNEF")[pitches.index(per_inch)]
