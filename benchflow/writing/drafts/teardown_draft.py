"""Drafts the assembly procedure from a teardown: what came off last goes on first."""

from typing import Any

from benchflow.base.plaintext import clean_line
from benchflow.session.teardown.part_text import reading_text_of
from benchflow.session.teardown.teardown_record import (
    TeardownLine,
    TeardownReading,
    TeardownRecord,
    valid_readings,
)
from benchflow.writing.drafts.draft_book import (
    DraftBook,
    DraftSection,
    plain_text,
    sentence_case,
    unique,
    within_sentence,
)
from benchflow.writing.drafts.draft_yaml import Noted
from benchflow.writing.drafts.inspection_entries import at_place, fate_checks, found_checks, recorded_values
from benchflow.writing.drafts.line_facts import line_facts
from benchflow.writing.drafts.line_fitting import LineFitting
from benchflow.writing.drafts.part_words import (
    has_spring,
    is_assembled_measure,
    is_breakaway,
    is_closing,
    is_heavy,
    is_moving,
)

_LONGEST_SECTION = 14  # operations
_WORDS_ONLY = ("breakaway", "leaks outside")


def measured_on(line: TeardownLine) -> list[TeardownReading]:
    """The valid readings of a line that have a quantity."""
    return [each for each in valid_readings(line.values) if each.value is not None]


def draft_from_teardown(record: TeardownRecord, source: str) -> DraftBook:
    """The draft of the procedure that assembles what ``record`` took apart. ``source`` is the file's name."""
    return _TeardownDraft(record, source).book


class _TeardownDraft:
    """Makes the draft of one teardown."""

    def __init__(self, record: TeardownRecord, source: str) -> None:
        self.record = record
        what = plain_text(record.what) or "assembly"
        self.book = DraftBook("", f"Assemble the {within_sentence(what)}")
        self.book.ident = self.book.name(f"assemble {what}", "procedure", default="assembly")
        self.lines = [line for line in record.lines if line.is_off]
        self.inspections: dict[str, str] = {}  # id of the line -> operation
        self.facts = {line.id: line_facts(line) for line in self.lines}
        self.fitting = LineFitting(self.book, record, "")
        self._ready = ""
        self._head(source)
        self._clean_and_inspect()
        self._assemble()
        self._finish()
        self._notes()

    # --- head -----------------------------------------------------------------------------------------

    def _head(self, source: str) -> None:
        book, record = self.book, self.record
        open_checks = [item.name for item in record.open_checks]
        book.head += [
            f"Draft from the teardown {clean_line(source)}: {record.what or 'assembly'}, {record.unit}, "
            f"{len(record.lines)} lines. The order is that of the teardown, reversed.",
            "",
            "What to do next:",
            "1. Write each figure that says `ask`, from the manual. List them: benchflow check --to-fill FILE",
            "   The bench asks for each one that you leave, with its source, before the work that needs it.",
            "2. Draw the `layout` of each joint as the part lies, numbered in tightening order.",
            "3. Answer the questions about collisions, below. The order is proven only against the rules you write.",
            "4. Look at each `after`: it is the order of the teardown, reversed, which may be stricter than necessary.",
            "5. Prove it: benchflow check FILE. See its order: benchflow order FILE.",
        ]
        if open_checks:
            book.head.append(f"Not measured while it was together: {', '.join(open_checks)}.")
        book.top["subject"] = plain_text(record.what) or "assembly"
        book.top["notice"] = (
            "A draft from a teardown. It is not proven. Compare every figure with the maker's manual before it is used."
        )
        cautions = []
        if any(is_heavy(line.description.what) for line in self.lines):
            cautions.append(
                {"danger": "A part that falls crushes. Support each heavy part until its fasteners hold it."}
            )
        if any(has_spring(line.description.what) for line in self.lines):
            cautions.append(
                {"warning": "Springs under load fly off. Use the compressor or press that the maker names."}
            )
        cautions.append({"notice": "The maker's manual comes first: its order, its special tools, its safety rules."})
        book.top["cautions"] = cautions
        for line in record.lines:
            if not line.is_off:
                book.head.append(
                    f"Line {line.id} ({line.description.what}) is in place: it was put back, so it is left out."
                )

    # --- clean, inspect, measure ----------------------------------------------------------------------

    def _clean_and_inspect(self) -> None:
        section = self.book.section("Clean, inspect and measure the parts", "The first steps are common practice.")
        self._prepare(section)
        for line in reversed(self.lines):
            operation = self._inspection(line)
            if operation is not None:
                section.operations.append(operation)

    def _prepare(self, section: DraftSection) -> None:
        """The first operations of every assembly: a stand for a heavy unit, clean parts, sound threads."""
        heavy = any(is_heavy(line.description.what) for line in self.lines)
        what = within_sentence(self.book.top["subject"])
        if heavy:
            section.operations.append({
                "id": self.book.name("mount stand"), "title": f"Mount the {what} on its stand",
                "cautions": [{"danger": "It can fall and crush. Lift it with slings, and lock the stand."}],
                "check": ["The stand is rated for the weight, and locked"], "undo": {"do": "Lift it off the stand"},
            })  # fmt: skip
        washed: dict[str, Any] = {"id": self.book.name("wash parts"), "title": "Wash and dry the parts"}
        if heavy:
            washed["after"] = [section.operations[0]["id"]]
        washed["check"] = [
            "All faces, holes and oil passages are clean and dry",
            "No residue of old gaskets or sealant",
        ]
        section.operations.append({**washed, "undo": {"do": "Wash them again"}})
        threads = unique(group.thread for line in self.lines for group in self.facts[line.id].tightened)
        self._ready = str(washed["id"])
        if threads:
            chased = {
                "id": self.book.name("chase threads"), "title": f"Chase the threads: {', '.join(threads)}",
                "after": [washed["id"]], "check": ["Each fastener runs in by hand to its seat", "Blind holes are dry"],
                "undo": {"do": "Chase them again"},
            }  # fmt: skip
            section.operations.append(chased)
            self.fitting.last = str(chased["id"])
        else:
            self.fitting.last = str(washed["id"])

    def _inspection(self, line: TeardownLine) -> Any | None:
        described, facts = line.description, self.facts[line.id]
        what = f"{'new ' if facts.all_new else ''}{facts.what}"
        checks = [*found_checks(facts), *fate_checks(self.book, facts)]
        if described.condition and not facts.all_new:
            checks.append(f"Condition as found: {plain_text(described.condition)}. It is cleaned, and good to use")
        values = [each for each in measured_on(line) if not is_assembled_measure(each.name)]
        values = [] if facts.renewed else [each for each in values if not is_breakaway(each.name)]
        answers = [each for each in valid_readings(line.values) if each.value is None]
        checks += [
            f"{sentence_case(plain_text(each.name))}{at_place(each)}: {plain_text(each.answer)}" for each in answers
        ]
        if not checks and not values:
            return None
        operation: dict[str, Any] = {"id": self.book.name(f"inspect {facts.what}")}
        self.inspections[line.id] = operation["id"]
        operation["title"] = f"Inspect and measure the {what}" if values else f"Inspect the {what}"
        operation["after"] = [self._ready]
        if values:
            operation["record"] = recorded_values(self.book, values, facts)
        if checks:
            operation["check"] = unique(checks)
        operation["undo"] = {"do": f"Inspect {'and measure ' if values else ''}{facts.word('it', 'them')} again"}
        return Noted(operation, (f"Line {line.id} of the teardown: {described.entered or what}",))

    # --- assembly -------------------------------------------------------------------------------------

    def _assemble(self) -> None:
        """One section for each part that closes something, in the order of assembly."""
        groups: list[list[TeardownLine]] = [[]]
        for line in reversed(self.lines):
            groups[-1].append(line)
            full = sum(1 + len(each.description.fasteners) for each in groups[-1]) >= _LONGEST_SECTION
            if (is_closing(line.description.what) and len(groups[-1]) > 2) or full:
                groups.append([])
        if len(groups) > 1 and len(groups[-1]) < 3:
            last = groups.pop()
            groups[-1] += last
        together = [each for each in valid_readings(self.record.together) if each.lines_off]
        for group in filter(None, groups):
            begins, ends = (plain_text(line.description.what) for line in (group[0], group[-1]))
            section = self.book.section(sentence_case(begins if begins == ends else f"{begins} to {ends}"))
            for line in group:
                self.fitting.fit(self.facts[line.id], section, self.inspections.get(line.id, ""))
                self._measure_fitted(line, section)
                off = self.record.lines.index(line)  # the lines that are still off
                due = [each for each in together if each.lines_off >= off]
                together = [each for each in together if each not in due]
                for reading in due:
                    self._measure_together([reading], section)

    def _measure_fitted(self, line: TeardownLine, section: DraftSection) -> None:
        """An operation for what can be measured only on the fitted part, such as its end float."""
        facts = self.facts[line.id]
        values = [each for each in measured_on(line) if is_assembled_measure(each.name)]
        if not values:
            return
        names = " and ".join(unique(plain_text(each.name) for each in values))
        operation: dict[str, Any] = {
            "id": self.book.name(f"measure {facts.what} {names}"), "title": f"Measure the {facts.what}: {names}",
            "after": [self.fitting.last], "record": recorded_values(self.book, values, facts),
            "undo": {"do": "Measure it again"},
        }  # fmt: skip
        section.operations.append(operation)
        self.fitting.last = operation["id"]

    # --- measured while it was together ---------------------------------------------------------------

    def _finish(self) -> None:
        section = self.book.section("Measure the assembly", "These were measured while it was together.")
        readings = [each for each in valid_readings(self.record.together) if not each.lines_off]
        by_name: dict[str, list[TeardownReading]] = {}
        for each in readings:
            by_name.setdefault(each.name, []).append(each)
        moving = [plain_text(line.description.what) for line in self.lines if is_moving(line.description.what)]
        free: dict[str, Any] = {"needs": dict.fromkeys(self.book.locks, "free")} if self.book.locks else {}
        if moving:
            turned: dict[str, Any] = {
                "id": self.book.name("turn by hand"), "title": "Turn it twice by hand",
                "after": [self.fitting.last], **free,
                "check": ["It turns freely through two turns, without a tight spot or a knock"],
                "undo": {"do": "Turn it again"},
            }  # fmt: skip
            section.operations.append(turned)
            self.book.turns.append(turned)
            self.fitting.last = turned["id"]
        for same in by_name.values():
            self._measure_together(same, section)
        counted = {
            "id": self.book.name("count tools"), "title": "Count tools and parts, cover the openings",
            "after": [self.fitting.last], **free,
            "check": ["No tool, wipe or part is left over or missing", "All openings are covered, and it is tagged"],
            "undo": {"do": "Count again"},
        }  # fmt: skip
        section.operations.append(counted)

    def _measure_together(self, readings: list[TeardownReading], section: DraftSection) -> None:
        name = plain_text(readings[0].name)
        places = unique(each.place for each in readings)
        at = at_place(readings[0]) if len(places) == 1 and all(each.place for each in readings) else ""
        shown = "; ".join(reading_text_of(each) for each in readings)
        if name.lower() in _WORDS_ONLY[:1]:
            self.book.tail.append(f"Measured during the teardown, for comparison only: {shown}")
            return
        operation: dict[str, Any] = {"id": self.book.name(f"measure {name}"), "title": f"Measure: {name}{at}"}
        if self.fitting.last:
            operation["after"] = [self.fitting.last]
        values = [each for each in readings if each.value is not None]
        answers = [each for each in readings if each.value is None]
        if name.lower() == _WORDS_ONLY[1]:
            operation["title"] = "Look for leaks"
            failure = self.book.name("leak", "failure", default="leak")
            self.book.failures[failure] = "It leaks"
            operation["check"] = [
                f"Dry where it leaked before{at_place(each)}: {plain_text(each.answer)}" for each in answers
            ]
            operation["guards-against"] = [failure]
        elif answers:
            operation["check"] = [
                f"{sentence_case(name)}{at_place(each)}: {plain_text(each.answer)}" for each in answers
            ]
        if values:
            operation["record"] = recorded_values(self.book, values)
        operation["undo"] = {"do": "Measure it again"}
        section.operations.append(Noted(operation, (f"During the teardown: {shown}",)))
        self.fitting.last = operation["id"]

    def _notes(self) -> None:
        self.book.tail += [f"Note of the teardown: {note.text}" for note in self.record.notes]
        self.book.tail += [f"Picture of the whole: {each.name} {each.text}".rstrip() for each in self.record.pictures]
        if any(line.pictures for line in self.record.lines) or self.record.pictures:
            self.book.tail.append(
                "To copy the pictures: benchflow export TEARDOWN --as csv --pictures FOLDER -o LINES.csv"
            )
        for item in self.record.checklist:
            if item.skipped:
                self.book.tail.append(f"Not measured during the teardown: {item.name} ({item.skipped})")
