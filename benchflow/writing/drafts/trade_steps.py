"""Steps that a teardown does not name, but that its parts ask for: timing marks, a filled pump, lash, tests at the end.

Source: common practice, no source.
"""

import re
from collections.abc import Sequence
from typing import Any

from msgspec import Struct

from benchflow.session.teardown.renewed_parts import head_noun, is_seal
from benchflow.session.teardown.teardown_record import TeardownReading
from benchflow.writing.drafts.draft_book import plain_text
from benchflow.writing.drafts.line_facts import LineFacts
from benchflow.writing.drafts.part_words import is_closing

_DRIVE = re.compile(r"\b(?:timing|cam|toothed) (?:chains?|belts?|gears?)$|^chain$", re.I)
_OF_DRIVE = re.compile(
    r"\b(?:timing|cam|crank|toothed|intake|exhaust)\b.*\b(?:gears?|sprockets?|pulleys?|belts?|chains?)\b|"
    r"\bsprockets?\b|\bchains?\b|\b(?:tensioner|guide) rails?\b|\btensioners?\b",
    re.I,
)
_PUMP_INSIDE = re.compile(r"\b(?:inner|outer|pump) rotors?\b|\bpump gears?\b|\brotors? of the (?:oil )?pump\b", re.I)
_PUMP = re.compile(r"\boil pump$", re.I)
_VALVE_GEAR = re.compile(
    r"\b(?:camshafts?|cam caps?|rocker(?:s| arms?| shafts?)?|pushrods?|lash (?:shims?|caps?)|followers?|tappets?)\b",
    re.I,
)
_LASH_SET_BY = re.compile(r"\b(?:lash (?:shims?|caps?)|rockers?|rocker arms?|tappets?|followers?)\b", re.I)
_HYDRAULIC = re.compile(r"\bhydraulic\b", re.I)
_COOLANT = re.compile(r"\b(?:thermostat|water pump|coolant|radiator|heater (?:hose|pipe|core))\b", re.I)
_HOLDS_OIL = re.compile(
    r"\b(?:sump|oil pan|(?:oil )?drain plug|(?:oil )?(?:level|filler) plug|oil sight glass)\b", re.I
)


_NOT_OPENED = re.compile(r"\b(?:pulleys?|belts?|fan|bolts?|screws?|nuts?|guards?)$", re.I)
"""Parts of a pump or cover that come off without opening what it holds."""
_OTHER_FLUID = re.compile(r"\b(?:radiator|coolant|water|fuel|block|air|brake)\b", re.I)


class TradeStep(Struct, frozen=True):
    """A step: its keys without id and `after`, comments, and what it is: ``mark-check`` turns everything."""

    keys: dict[str, Any]
    comments: tuple[str, ...] = ()
    turns: bool = False
    readings: tuple[TeardownReading, ...] = ()  # the readings that it records
    value: str = ""  # the name of a value that nobody measured during the teardown


class TradeSteps:
    """The steps for the lines of a teardown, which are given in the order of assembly.

    ``together`` are the readings on the whole assembly. ``taken`` are the names of those that a step has.
    """

    def __init__(self, lines: Sequence[LineFacts], together: Sequence[TeardownReading]) -> None:
        self.lines, self.together = lines, together
        self.taken: set[str] = set()
        self.before: dict[str, list[TradeStep]] = {}
        self.after: dict[str, list[TradeStep]] = {}
        self._timing()
        self._pump()
        self._lash()

    def _answers(self, name: str) -> list[TeardownReading]:
        return [each for each in self.together if each.name.lower() == name and not each.lines_off]

    def _last(self, pattern: re.Pattern[str], start: int = 0) -> LineFacts | None:
        """The last line from ``start`` on that is about ``pattern``, before a cover closes what is there."""
        found = None
        for facts in self.lines[start:]:
            if found is not None and is_closing(facts.what):
                break
            if pattern.search(facts.what) and not is_seal(facts.what) and not is_closing(facts.what):
                found = facts
        return found

    def _timing(self) -> None:
        """The shafts are set before the chain or belt goes on, and looked at before a cover hides the marks."""
        marks = self._answers("timing marks")
        drives = [index for index, facts in enumerate(self.lines) if _DRIVE.search(head_noun(facts.what))]
        if not drives or not (marks or any(_has_valves(facts.what) for facts in self.lines)):
            return
        first = self.lines[drives[0]]
        last = self._last(_OF_DRIVE, drives[0])
        assert last is not None  # the drive itself is one
        words = [plain_text(each.answer) for each in marks if each.answer] or ["All timing marks are where they belong"]
        danger = []
        if any(_has_valves(facts.what) for facts in self.lines):
            danger = [{"caution": "Valves and pistons can touch. Turn slowly, and never against resistance."}]
        self.before.setdefault(first.line.id, []).append(TradeStep({
            "title": "Set the shafts to their timing marks", **({"cautions": danger} if danger else {}),
            "check": words, "undo": {"do": "Turn the shafts away from their marks"},
        }))  # fmt: skip
        self.after.setdefault(last.line.id, []).append(TradeStep({
            "title": "Turn it two turns by hand, and look at the timing marks",
            "check": ["It turns without a tight spot or a knock", *words], "undo": {"do": "Turn it and look again"},
        }, turns=True))  # fmt: skip
        self.taken.add("timing marks")

    def _pump(self) -> None:
        """A pump is filled before it is closed, or else before it is fitted: a dry one does not draw."""
        keys = {
            "title": "Fill the oil pump with oil", "uses": ["oil"],
            "check": ["Oil stands in the pump, and its shaft has been turned by hand"],
            "undo": {"do": "Fill it again before it is used"},
        }  # fmt: skip
        inside = [facts for facts in self.lines if _PUMP_INSIDE.search(facts.what) and not is_seal(facts.what)]
        whole = [facts for facts in self.lines if _PUMP.search(head_noun(facts.what))]
        comment = ("A dry pump does not draw. Passages are primed as in the block oil-primed.",)
        if inside:
            self.after.setdefault(inside[-1].line.id, []).append(TradeStep(keys, comment))
        elif whole:
            self.before.setdefault(whole[0].line.id, []).append(TradeStep(keys, comment))

    def _lash(self) -> None:
        """The lash of valves is measured while the valve gear is open."""
        names = [facts.what for facts in self.lines if not re.search(r"\bcovers?\b", facts.what, re.I)]
        drives = re.compile(r"\bcamshafts?\b|\brockers?\b|\bpushrods?\b", re.I)
        if any(map(_HYDRAULIC.search, names)) or not (
            any(map(_LASH_SET_BY.search, names)) and any(map(drives.search, names))
        ):
            return
        last = self._last(_VALVE_GEAR)
        if last is None:
            return
        readings = tuple(self._answers("lash"))
        self.taken.add("lash")
        self.after.setdefault(last.line.id, []).append(TradeStep(
            {"title": "Measure the lash of the valves", "undo": {"do": "Measure it again"}},
            ("It can be reached before the cover is on. Blocks for it: first-lash, lash-by-shims.",),
            readings=readings, value="valve lash",
        ))  # fmt: skip

    def at_the_end(self) -> list[TradeStep]:
        """What is filled and tested once everything is fitted."""
        found = []
        names = [facts.what for facts in self.lines if not _NOT_OPENED.search(head_noun(facts.what))]
        cooled = any(map(_COOLANT.search, names))
        plugs_only = cooled and not any(re.search(r"\b(?:oil|sump)\b", name, re.I) for name in names)
        if not plugs_only and any(_HOLDS_OIL.search(name) and not _OTHER_FLUID.search(name) for name in names):
            found.append(TradeStep({
                "title": "Fill it with oil", "uses": ["oil"],
                "check": ["It is the oil that the manual names, up to the level that it prints"],
                "undo": {"do": "Drain it"},
            }))  # fmt: skip
        if cooled:
            found.append(TradeStep({
                "title": "Fill the cooling system", "uses": ["coolant"],
                "check": ["It is the coolant that the manual names, and the air is bled as the manual prints"],
                "undo": {"do": "Drain it"},
            }))  # fmt: skip
            found.append(TradeStep({
                "title": "Test the cooling system under pressure",
                "cautions": [{"warning": "Air under pressure. Stay below the pressure of the cap."}],
                "check": ["The pressure holds as long as the manual prints", "No joint, hose or pump is wet"],
                "undo": {"do": "Let the pressure off"},
            }, ("A building block for this: pressure-test (benchflow blocks show pressure-test)",)))  # fmt: skip
        return found


def _has_valves(what: str) -> bool:
    return re.search(r"\bcam(?:s|shafts?)?\b|\bvalves?\b", what, re.I) is not None
