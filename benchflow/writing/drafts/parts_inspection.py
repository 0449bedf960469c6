"""Drafts the first section of a teardown's procedure: the parts are washed, compared, inspected and measured."""

import re
from itertools import chain
from typing import Any

from msgspec.structs import replace

from benchflow.session.teardown.renewed_parts import is_seal
from benchflow.session.teardown.teardown_record import TeardownLine, TeardownReading, valid_readings
from benchflow.writing.drafts.draft_book import (
    DraftBook,
    DraftSection,
    block_comment,
    plain_text,
    sentence_case,
    unique,
    within_sentence,
)
from benchflow.writing.drafts.draft_yaml import Noted
from benchflow.writing.drafts.inspection_entries import at_place, recorded_values
from benchflow.writing.drafts.line_facts import LineFacts
from benchflow.writing.drafts.part_words import is_breakaway, is_fitted_measure, is_gasket, is_heavy, is_written_torque
from benchflow.writing.drafts.unit_findings import found_comment, general_checks, unit_findings


class PartsInspection:
    """Writes the first section. ``ready`` is the operation after which parts can be inspected.

    Assembly comes after ``last`` and ``faces``, the operation that cleans the sealing faces, or "".
    ``done`` has the operation that inspects the parts of each line, by the line's id.
    """

    def __init__(self, book: DraftBook, facts: list[LineFacts], section: DraftSection) -> None:
        self.book, self.facts, self.section = book, facts, section
        self.done: dict[str, str] = {}
        self.ready = self.last = self.faces = ""

    def write(self) -> None:
        """Write the section, with the parts in the order of assembly."""
        self._prepare()
        self._compare_new_parts()
        for facts in self.facts:
            operation = self._inspection(facts)
            if operation is not None:
                self.section.operations.append(operation)

    def _add(self, name: str, **keys: Any) -> str:
        ident = self.book.name(name)
        self.section.operations.append({"id": ident, **{key: each for key, each in keys.items() if each}})
        return ident

    def _prepare(self) -> None:
        """The first operations of every assembly: a stand for a heavy unit, clean parts and faces, sound threads."""
        what = within_sentence(self.book.top["subject"])
        stand = []
        if any(is_heavy(facts.what) for facts in self.facts):
            stand = [self._add(
                "mount stand", title=f"Mount the {what} on its stand",
                cautions=[{"danger": "It can fall and crush. Lift it with slings, and lock the stand."}],
                check=["The stand is rated for the weight, and locked"], undo={"do": "Lift it off the stand"},
            )]  # fmt: skip
        self.ready = self.last = self._add(
            "wash parts", title="Wash and dry the parts", after=stand,
            check=["All holes and oil passages are clean and dry"], undo={"do": "Wash them again"},
        )  # fmt: skip
        faces = unique(_face(facts) for facts in self.facts)
        if faces:
            self.faces = self.book.name("clean sealing faces")
            self.section.operations.append(Noted({
                "id": self.faces,
                "title": "Clean the sealing faces", "do": f"Both sides: {', '.join(faces)}.", "after": [self.ready],
                "check": ["No residue of old gaskets or sealant", "No scratch or dent runs across a face"],
                "undo": {"do": "Clean them again"},
            }, (block_comment("flat-face"),)))  # fmt: skip
        threads = unique(group.thread for facts in self.facts for group in facts.tightened)
        if threads:
            self.last = self._add(
                "chase threads", title="Chase the threads", do=f"{', '.join(sorted(threads, key=_size))}.",
                after=[self.ready], check=["Each fastener runs in by hand to its seat", "Blind holes are dry"],
                undo={"do": "Chase them again"},
            )  # fmt: skip

    def _compare_new_parts(self) -> None:
        """One operation for the new parts about which nothing else was found."""
        own = [
            facts for facts in self.facts
            if facts.all_new and facts.replaced and not is_seal(facts.what) and not self._has_more(facts)
        ]  # fmt: skip
        if not own:
            return
        ident = self._add(
            "compare new parts", title="Lay the new parts out, and compare each with the old one", after=[self.ready],
            check=unique(sentence_case(facts.what) for facts in own), undo={"do": "Compare them again"},
        )  # fmt: skip
        old = [f"{facts.what}: {', '.join(words)} (line {facts.line.id})"
               for facts in own if (words := unit_findings(facts))]  # fmt: skip
        if old:
            self.section.operations[-1] = Noted(self.section.operations[-1], self.book.found_on(old))
        for facts in own:
            self.done[facts.line.id] = ident

    @staticmethod
    def _has_more(facts: LineFacts) -> bool:
        return bool(general_checks(facts) or _values_before(facts) or _answers(facts.line))

    def _inspection(self, facts: LineFacts) -> Any | None:
        line, described = facts.line, facts.line.description
        if line.id in self.done:
            return None
        each, facts = facts, replace(facts, each="")  # they are inspected all together
        what = f"{'new ' if facts.all_new else ''}{facts.what}"
        checks = general_checks(facts)
        if facts.replaced and not is_seal(facts.what):
            many = facts.plural and len(facts.replaced) != 1
            ready = ("parts are", "ones") if many else ("part is", "one")
            places = ", ".join(facts.replaced)
            where = f" ({places})" if places and not facts.all_new else ""
            checks.append(f"The new {ready[0]} ready{where}, and compared with the old {ready[1]}")
        values = _values_before(facts)
        answers = _answers(line)
        checks += [
            f"{sentence_case(plain_text(each.name))}{at_place(each)} is as the manual prints" for each in answers
        ]
        if not checks and not values:
            return None
        operation: dict[str, Any] = {"id": self.book.name(f"inspect {facts.what}")}
        self.done[line.id] = operation["id"]
        verbs = "Inspect and measure" if values and checks else "Measure" if values else "Inspect"
        operation["title"] = f"{verbs} the {what}"
        operation["after"] = [self.ready]
        if values:
            operation["record"] = recorded_values(self.book, values, each)
        if checks:
            operation["check"] = unique(checks)
        operation["undo"] = {"do": f"{verbs} {facts.word('it', 'them')} again"}
        seen = [f"{plain_text(each.name)}{at_place(each)}: {plain_text(each.answer)} (line {line.id})"
                for each in answers]  # fmt: skip
        above = [f"Line {line.id} of the teardown: {described.entered or what}", *found_comment(self.book, facts)]
        return Noted(operation, tuple(chain(above, self.book.found_on(seen))))


def measured_on(line: TeardownLine) -> list[TeardownReading]:
    """The valid readings of a line that have a quantity."""
    return [each for each in valid_readings(line.values) if each.value is not None]


def _answers(line: TeardownLine) -> list[TeardownReading]:
    return [each for each in valid_readings(line.values) if each.value is None]


def _values_before(facts: LineFacts) -> list[TeardownReading]:
    """What is measured on the part before it is fitted."""
    if facts.renewed:
        return []
    values = measured_on(facts.line)
    return [each for each in values if not _is_elsewhere(each, facts)]


def _is_elsewhere(value: TeardownReading, facts: LineFacts) -> bool:
    """True for what is measured on the fitted part, or belongs to its joint."""
    return is_fitted_measure(value.name, facts.what) or is_breakaway(value.name) or is_written_torque(value.name)


def _face(facts: LineFacts) -> str:
    """The face that a line seals: that of a gasket without its word, or that of a cover with sealant."""
    if is_gasket(facts.what):
        return re.sub(r"\s*\bgaskets?\b\s*", " ", facts.what, flags=re.IGNORECASE).strip() or facts.what
    return facts.what if facts.takes_bead else ""


def _size(thread: str) -> tuple[float, str]:
    """The sort key of a thread: metric ones by their diameter."""
    found = re.match(r"M(\d+(?:\.\d+)?)", thread)
    return (float(found[1]) if found else 0.0), thread
