"""Drafts the assembly procedure from a teardown: what came off last goes on first."""

import re

from msgspec.structs import replace

from benchflow.base.plaintext import clean_line
from benchflow.review.formatting import local_day
from benchflow.session.teardown.fate_text import question_in
from benchflow.session.teardown.teardown_record import TeardownRecord, valid_readings
from benchflow.writing.drafts.assembly_measures import AssemblyMeasures
from benchflow.writing.drafts.draft_book import (
    DraftBook,
    plain_text,
    sentence_case,
    within_sentence,
)
from benchflow.writing.drafts.draft_yaml import scalar_text
from benchflow.writing.drafts.line_facts import LineFacts, line_facts
from benchflow.writing.drafts.line_fitting import LineFitting
from benchflow.writing.drafts.part_words import has_spring, is_closing, is_heavy, singular
from benchflow.writing.drafts.parts_inspection import PartsInspection
from benchflow.writing.drafts.trade_steps import TradeSteps
from benchflow.writing.drafts.unit_findings import customer_questions

_LONGEST_SECTION = 14  # operations
_NOTE = re.compile(r"note\s*:\s*", re.I)
_COMPLAINT = re.compile(
    r"\b(?:customer|complain\w*|complaint|jumps? out|slips?|nois[ey]|knocks?|rattles?|grinds?|overheats?|leaks?|"
    r"smokes?|loses?|stalls?|vibrat\w*)\b",
    re.I,
)
"""Words of a complaint. Source: common practice, no source."""


def draft_from_teardown(record: TeardownRecord, source: str) -> DraftBook:
    """The draft of the procedure that assembles what ``record`` took apart. ``source`` is the file's name."""
    return _TeardownDraft(record, source).book


class _TeardownDraft:
    """Makes the draft of one teardown. ``facts`` are its lines in the order of assembly."""

    def __init__(self, record: TeardownRecord, source: str) -> None:
        self.record = record
        what = plain_text(record.what) or "assembly"
        self.book = DraftBook("", f"Assemble the {within_sentence(what)}")
        self.book.unit_seen = f"{plain_text(record.unit)} {local_day(record.opened_at)}"
        self.book.ident = self.book.name(f"assemble {what}", "procedure", default="assembly")
        off = [line for line in record.lines if line.is_off]
        self.places_in_order = {line.id: index for index, line in enumerate(record.lines)}
        self.written_as_notes = [line for line in off if _NOTE.match(line.description.what)]
        self.facts = [
            self._with_places(line_facts(line)) for line in reversed(off) if line not in self.written_as_notes
        ]
        self._head(source)
        inspected = self.book.section("Clean, inspect and measure the parts", "The first steps are common practice.")
        self.inspection = PartsInspection(self.book, self.facts, inspected)
        self.inspection.write()
        self.fitting = LineFitting(self.book, record, self.inspection)
        self.fitting.wait_for([self.inspection.faces])
        self.steps = TradeSteps(self.facts, [each for each in valid_readings(record.together) if not each.lines_off])
        self.measures = AssemblyMeasures(self.book, record, self.fitting, self.steps)
        self._assemble()
        self.measures.finish(
            self.facts, self.book.section("Measure and test the assembly", "What was measured while it was together.")
        )
        self._notes()

    def _with_places(self, facts: LineFacts) -> LineFacts:
        """The facts with the set of places that the part is fitted over, one after another."""
        line, places = facts.line, facts.line.description.places
        words = [place.rpartition(" ") for place in places]
        own = [last for _, _, last in words]
        alike = len({part.partner for part in line.parts}) == 1 and len({part.fate for part in line.parts}) == 1
        if len(places) < 2 or len({word for word, _, _ in words}) != 1 or not alike or len(set(own)) != len(own):
            return facts
        if not all(re.fullmatch(r"\d{1,3}|[a-z]+", one) for one in own):
            return facts
        name = "-".join(re.findall(r"[a-z]+", (words[0][0] or singular(facts.what)).lower())) or "place"
        if self.book.places.get(name) != own:
            name = self.book.name(name, "places", default="place")
            self.book.places[name] = own
        return replace(facts, each=name)

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
        if decisions := [each for facts in self.facts for each in customer_questions(facts)]:
            book.head.append(f"The customer of {book.unit_seen} has to decide: {'; '.join(decisions)}.")
        if open_checks:
            book.head.append(f"Not measured while it was together: {', '.join(open_checks)}.")
        book.top["subject"] = plain_text(record.what) or "assembly"
        book.top["notice"] = (
            "A draft from a teardown. It is not proven. Compare every figure with the maker's manual before it is used."
        )
        cautions = []
        if any(is_heavy(facts.what) for facts in self.facts):
            cautions.append(
                {"danger": "A part that falls crushes. Support each heavy part until its fasteners hold it."}
            )
        if any(has_spring(facts.what) for facts in self.facts):
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

    # --- assembly -------------------------------------------------------------------------------------

    def _assemble(self) -> None:
        """One section for each part that closes something, in the order of assembly."""
        groups: list[list[LineFacts]] = [[]]
        for facts in self.facts:
            groups[-1].append(facts)
            full = sum(1 + len(each.line.description.fasteners) for each in groups[-1]) >= _LONGEST_SECTION
            if (is_closing(facts.what) and len(groups[-1]) > 2) or full:
                groups.append([])
        if len(groups) > 1 and len(groups[-1]) < 3:
            last = groups.pop()
            groups[-1] += last
        for group in filter(None, groups):
            begins, ends = group[0].what, group[-1].what
            section = self.book.section(sentence_case(begins if begins == ends else f"{begins} to {ends}"))
            self.fitting.wait_for(self.inspection.done.get(facts.line.id, "") for facts in group)
            for facts in group:
                for step in self.steps.before.get(facts.line.id, ()):
                    self.measures.step(step, section)
                self.fitting.fit(facts, section)
                self.measures.fitted(facts, section)
                for step in self.steps.after.get(facts.line.id, ()):
                    self.measures.step(step, section)
                self.measures.due(self.places_in_order[facts.line.id], section)  # the lines that are still off

    def _notes(self) -> None:
        notes = [each.text for each in self.record.notes]
        notes += [f"{_NOTE.sub('', each.description.what, count=1)} (line {each.id})" for each in self.written_as_notes]
        self.book.tail += [f"Note of the teardown: {text}" for text in notes]
        for text in filter(_COMPLAINT.search, (each for each in notes if question_in(each) is None)):
            words = plain_text(re.split(r",|;|\(|\bcustomer says\b", text)[0]).strip() or plain_text(text)
            name = self.book.name(words, "failure", default="failure")
            self.book.complaints += [
                f"Complaint about {self.book.unit_seen}: {plain_text(text)}. If it can come back, write this line "
                f"under `failures`, and `guards-against: [{name}]` on the operation that prevents it:",
                f"  {name}: {scalar_text(sentence_case(words))}",
            ]
        self.book.tail += [f"Picture of the whole: {each.name} {each.text}".rstrip() for each in self.record.pictures]
        if any(line.pictures for line in self.record.lines) or self.record.pictures:
            self.book.tail.append(
                "To copy the pictures: benchflow export TEARDOWN --as csv --pictures FOLDER -o LINES.csv"
            )
        skipped: dict[str, list[str]] = {}
        for item in self.record.checklist:
            if item.skipped:
                skipped.setdefault(item.skipped, []).append(item.name)
        self.book.tail += [f"Not measured during the teardown: {', '.join(names)} ({reason})"
                           for reason, names in skipped.items()]  # fmt: skip
