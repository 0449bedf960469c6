"""Drafts what is measured on fitted parts and on the whole assembly, and how a procedure ends."""

from typing import Any

from benchflow.session.teardown.part_text import reading_text_of
from benchflow.session.teardown.teardown_record import TeardownReading, TeardownRecord, valid_readings
from benchflow.writing.drafts.draft_book import ASK, DraftBook, DraftSection, plain_text, sentence_case, unique
from benchflow.writing.drafts.draft_yaml import Noted
from benchflow.writing.drafts.inspection_entries import at_place, recorded_values
from benchflow.writing.drafts.line_facts import LineFacts
from benchflow.writing.drafts.line_fitting import LineFitting
from benchflow.writing.drafts.part_words import is_fitted_measure, is_moving
from benchflow.writing.drafts.parts_inspection import measured_on
from benchflow.writing.drafts.trade_steps import TradeStep, TradeSteps

_BREAKAWAY, _LEAKS = "breakaway", "leaks outside"


class AssemblyMeasures:
    """Writes measurements into sections, each after what was written last."""

    def __init__(self, book: DraftBook, record: TeardownRecord, fitting: LineFitting, steps: TradeSteps) -> None:
        self.book, self.fitting, self.steps = book, fitting, steps
        together = valid_readings(record.together)
        self.off = [each for each in together if each.lines_off]  # measured when some lines were off
        self.whole = [each for each in together if not each.lines_off]

    def _add(self, section: DraftSection, operation: dict[str, Any], *above: str) -> None:
        if self.fitting.last:
            operation["after"] = [self.fitting.last]
        self.book.arrange(operation)
        section.operations.append(Noted(operation, above) if above else operation)
        self.fitting.last = operation["id"]

    def fitted(self, facts: LineFacts, section: DraftSection) -> None:
        """An operation for what can be measured only on the fitted part, such as its end float."""
        values = [each for each in measured_on(facts.line) if is_fitted_measure(each.name, facts.what)]
        if values:
            names = " and ".join(unique(plain_text(each.name) for each in values))
            title = f"Measure the {names} of the {facts.what}"
            self._add(section, {
                "id": self.book.name(f"measure {facts.what} {names}"), "title": title,
                "record": recorded_values(self.book, values, facts), "undo": {"do": "Measure it again"},
            })  # fmt: skip

    def due(self, lines_off: int, section: DraftSection) -> None:
        """What was measured during the teardown when ``lines_off`` lines or more were off."""
        due = [each for each in self.off if each.lines_off >= lines_off]
        self.off = [each for each in self.off if each not in due]
        for reading in due:
            self.together([reading], section)

    def step(self, step: TradeStep, section: DraftSection) -> None:
        """A step that the parts ask for."""
        operation: dict[str, Any] = {"id": self.book.name(step.keys["title"]), **step.keys}
        for fluid in operation.get("uses", ()):
            title = f"{sentence_case(fluid)} that the manual names"
            self.book.consumables.setdefault(fluid, {"title": title, "lot": "required"})
        values = [each for each in step.readings if each.value is not None]
        if values:
            operation["record"] = recorded_values(self.book, values)
        elif step.value:
            name = self.book.name(step.value, "value")
            operation["record"] = {name: {"ask": sentence_case(step.value), "unit": "mm", "limit": ASK}}
        if step.turns:
            self._turning(operation)
        self._add(section, operation, *step.comments)

    def _turning(self, operation: dict[str, Any]) -> None:
        """What turns the assembly needs every lock free."""
        if self.book.locks:
            operation["needs"] = dict.fromkeys(self.book.locks, "free")
        self.book.turns.append(operation)

    def finish(self, lines: list[LineFacts], section: DraftSection) -> None:
        """Turn it, measure what was measured while it was together, fill and test it, count the tools."""
        by_name: dict[str, list[TeardownReading]] = {}
        for each in self.whole:
            by_name.setdefault(each.name, []).append(each)
        last = [name for name in by_name if name.lower() == _LEAKS]
        if any(is_moving(facts.what) for facts in lines):
            turned: dict[str, Any] = {
                "id": self.book.name("turn by hand"), "title": "Turn it twice by hand",
                "check": ["It turns freely through two turns, without a tight spot or a knock"],
                "undo": {"do": "Turn it again"},
            }  # fmt: skip
            self._turning(turned)
            self._add(section, turned)
        for name, same in by_name.items():
            if name.lower() not in self.steps.taken and name not in last:
                self.together(same, section)
        for step in self.steps.at_the_end():
            self.step(step, section)
        for name in last:
            self.together(by_name[name], section)
        counted: dict[str, Any] = {
            "id": self.book.name("count tools"), "title": "Count tools and parts, cover the openings",
            "check": ["No tool, wipe or part is left over or missing", "All openings are covered, and it is tagged"],
            "undo": {"do": "Count again"},
        }  # fmt: skip
        if self.book.locks:
            counted["needs"] = dict.fromkeys(self.book.locks, "free")
        self._add(section, counted)

    def together(self, readings: list[TeardownReading], section: DraftSection) -> None:
        """Readings of one name on the assembly, or what the builder saw there."""
        name = plain_text(readings[0].name)
        shown = "; ".join(reading_text_of(each) for each in readings)
        if name.lower() == _BREAKAWAY:
            self.book.tail.append(f"Measured during the teardown, for comparison only: {shown}")
            return
        places = unique(each.place for each in readings)
        at = at_place(readings[0]) if len(places) == 1 and all(each.place for each in readings) else ""
        values = [each for each in readings if each.value is not None]
        answers = [each for each in readings if each.value is None]
        above: tuple[str, ...] = ()
        verb = "Measure" if values else "Look at"
        operation: dict[str, Any] = {"id": self.book.name(f"{verb} {name}"), "title": f"{verb} the {name}{at}"}
        if name.lower() == _LEAKS:
            operation["title"] = "Look for leaks"
            failure = self.book.name("leak", "failure", default="leak")
            self.book.failures[failure] = "It leaks"
            operation["check"] = ["No joint, plug or seal is wet"]
            above = self.book.found_on(f"{plain_text(each.answer)}{at_place(each)}" for each in answers)
            operation["guards-against"] = [failure]
        elif answers:
            operation["check"] = unique(_answer_check(name, each) for each in answers)
        if values:
            operation["record"] = recorded_values(self.book, values)
        operation["undo"] = {"do": f"{verb} it again"}
        self._add(section, operation, *(above or (f"During the teardown: {shown}",)))


def _answer_check(name: str, reading: TeardownReading) -> str:
    """The check for what was seen during the teardown. Marks have to be the same again; the rest may be a fault."""
    at, answer = at_place(reading), plain_text(reading.answer)
    if name.lower() == "timing marks":
        return f"{sentence_case(name)}{at}: {answer}"
    return f"{sentence_case(name)}{at} is as the manual prints"
