"""Drafts the assembly procedure from a teardown: what came off last goes on first."""

from typing import Any

from msgspec import Struct

from benchflow.base.plaintext import clean_line
from benchflow.session.teardown.part_text import fasteners_text, reading_text_of
from benchflow.session.teardown.teardown_record import (
    FastenerGroup,
    TeardownLine,
    TeardownReading,
    TeardownRecord,
    valid_readings,
)
from benchflow.writing.drafts.draft_book import ASK, DraftBook, DraftSection, plain_text, sentence_case, unique
from benchflow.writing.drafts.draft_yaml import Noted
from benchflow.writing.drafts.inspection_entries import at_place, fate_checks, found_checks, recorded_values
from benchflow.writing.drafts.part_words import (
    UNTHREADED,
    has_sealant,
    has_spring,
    is_closing,
    is_heavy,
    is_moving,
    is_seal,
    is_used_once,
)

_LONGEST_SECTION = 14  # operations
_WORDS_ONLY = ("breakaway", "leaks outside")
WRENCH = "torque-wrench"


class LinePlaces(Struct, frozen=True):
    """The places of a line as a set: its name and the places without its word; ``("", ())`` for no set."""

    name: str = ""
    places: tuple[str, ...] = ()


def draft_from_teardown(record: TeardownRecord, source: str) -> DraftBook:
    """The draft of the procedure that assembles what ``record`` took apart. ``source`` is the file's name."""
    return _TeardownDraft(record, source).book


class _TeardownDraft:
    """Makes the draft of one teardown."""

    def __init__(self, record: TeardownRecord, source: str) -> None:
        self.record = record
        what = plain_text(record.what) or "assembly"
        self.book = DraftBook("", f"Assemble the {what}")
        self.book.ident = self.book.name(f"assemble {what}", "procedure", default="assembly")
        self.lines = [line for line in record.lines if line.is_off]
        self.inspections: dict[str, str] = {}  # id of the line -> operation
        self._last = self._ready = ""
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
            f"{len(record.lines)} lines. The order is that of the way down, reversed.",
            "",
            "What to do next:",
            "1. Write each figure that says `ask`, from the manual. List them: benchflow check --to-fill FILE",
            "   What you leave, the bench asks for, with its source, before the work that needs it. It proposes none.",
            "2. Draw the `layout` of each joint as the part lies, numbered in tightening order.",
            "3. Answer the questions about collisions, below. The order is proven only against the rules you write.",
            "4. Look at each `after`: it is the order of the way down, which may be stricter than it has to be.",
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
        """What comes before every assembly: a stand for what is heavy, clean parts, sound threads."""
        heavy = any(is_heavy(line.description.what) for line in self.lines)
        if heavy:
            what = self.book.top["subject"]
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
        threads = unique(
            group.thread for line in self.lines for group in line.description.fasteners if group.kind not in UNTHREADED
        )
        self._ready = str(washed["id"])
        if threads:
            chased = {
                "id": self.book.name("chase threads"), "title": f"Chase the threads: {', '.join(threads)}",
                "after": [washed["id"]], "check": ["Each fastener runs in by hand to its seat", "Blind holes are dry"],
                "undo": {"do": "Chase them again"},
            }  # fmt: skip
            section.operations.append(chased)
            self._last = str(chased["id"])
        else:
            self._last = str(washed["id"])

    def _inspection(self, line: TeardownLine) -> Any | None:
        described, what = line.description, plain_text(line.description.what)
        renewed = is_seal(what) or is_used_once(what)
        checks = [*found_checks(line), *([] if renewed else fate_checks(self.book, line))]
        if described.condition and not renewed:
            checks.append(f"Condition as found: {plain_text(described.condition)}. It is cleaned, and good to use")
        values = [each for each in valid_readings(line.values) if each.value is not None]
        answers = [each for each in valid_readings(line.values) if each.value is None]
        checks += [
            f"{sentence_case(plain_text(each.name))}{at_place(each)}: {plain_text(each.answer)}" for each in answers
        ]
        if not checks and not values:
            return None
        operation: dict[str, Any] = {"id": self.book.name(f"inspect {what}")}
        self.inspections[line.id] = operation["id"]
        operation["title"] = f"Inspect and measure the {what}" if values else f"Inspect the {what}"
        operation["after"] = [self._ready]
        if values:
            operation["record"] = recorded_values(self.book, values, what)
        if checks:
            operation["check"] = unique(checks)
        operation["undo"] = {"do": "Inspect and measure it again"}
        return Noted(operation, (f"Line {line.id} of the teardown: {line.description.entered or what}",))

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
                self._fit(line, section)
                off = self.record.lines.index(line)  # the lines that are still off
                due = [each for each in together if each.lines_off >= off]
                together = [each for each in together if each not in due]
                for reading in due:
                    self._measure_together([reading], section)

    def _fit(self, line: TeardownLine, section: DraftSection) -> None:
        described, what = line.description, plain_text(line.description.what)
        part = self._part(line)
        sealed = self._sealant(line, what, section)
        operation: dict[str, Any] = {"id": self.book.name(f"fit {what}")}
        operation["title"] = f"Fit the {'new ' if self.book.parts[part].get('discard') else ''}{what}"
        cautions = []
        if is_heavy(what):
            cautions.append({"danger": "It is heavy. Support it until its fasteners hold it."})
        if has_spring(what):
            cautions.append({"warning": "A spring can fly off. Keep your face out of its line."})
        if cautions:
            operation["cautions"] = cautions
        operation["do"] = self._instruction(line, what)
        places = self._places_of(line)
        self._come_after(operation, line)
        if sealed:
            operation["time"] = {sealed: ASK}
        operation["uses"] = [part]
        checks = self._fit_checks(line, places)
        threaded = [group for group in described.fasteners if group.kind not in UNTHREADED]
        checks += [f"{fasteners_text(group)}: seated" for group in described.fasteners if group.kind in UNTHREADED]
        if len(threaded) > 1 or any(group.where or group.length is not None for group in threaded):
            checks += [f"In place, not tightened: {plain_text(fasteners_text(group))}" for group in threaded]
        if checks:
            operation["check"] = unique(checks)
        undo: dict[str, Any] = {"do": f"Take off the {what}{self._kept_in(line)}"}
        if self.book.parts[part].get("discard"):
            undo["discard"] = [part]
        operation["undo"] = undo
        section.operations.append(Noted(operation, tuple(self._comments(line))))
        self._last = operation["id"]
        by_thread: dict[str, list[FastenerGroup]] = {}
        for group in threaded:
            by_thread.setdefault(group.thread, []).append(group)
        for thread, groups in by_thread.items():
            self._tighten(what, thread, groups, section, several=len(by_thread) > 1)

    def _sealant(self, line: TeardownLine, what: str, section: DraftSection) -> str:
        """The operation that puts sealant on, if the teardown found some; "" if it did not."""
        described = line.description
        words = " ".join((described.remark, described.condition, *(note.text for note in line.notes),
                          *(one.text for part in line.parts for one in part.found)))  # fmt: skip
        if not has_sealant(words) or is_seal(what):
            return ""
        consumable = "sealant"
        self.book.consumables.setdefault(consumable, {"title": "Sealant", "lot": "required"})
        operation: dict[str, Any] = {"id": self.book.name(f"seal {what}"), "title": f"Put sealant on the {what}"}
        if self._last:
            operation["after"] = [self._last]
        operation["uses"] = [consumable]
        operation["check"] = ["The bead is closed, and runs inside of the holes"]
        operation["undo"] = {"do": "Wipe the sealant off both faces"}
        section.operations.append(
            Noted(operation, ("Sealant was found here. The manual prints its kind and open time.",))
        )
        self._last = operation["id"]
        return self._last

    def _instruction(self, line: TeardownLine, what: str) -> str:
        described = line.description
        lines = [f"Bring the {what}{self._from(line)}. Clean its faces and oil what slides."]
        if described.marks:
            lines.append(f"Marks: {plain_text(described.marks)}.")
        if described.orientation:
            lines.append(f"It faces: {plain_text(described.orientation)}.")
        return "\n".join(lines)

    def _from(self, line: TeardownLine) -> str:
        return f" from {plain_text(line.description.container)}" if line.description.container else ""

    def _kept_in(self, line: TeardownLine) -> str:
        return f", and keep it in {plain_text(line.description.container)}" if line.description.container else ""

    def _come_after(self, operation: dict[str, Any], line: TeardownLine) -> None:
        before = [self._last] if self._last else []
        if line.id in self.inspections:
            before.append(self.inspections[line.id])
        if before:
            operation["after"] = unique(before)

    def _fit_checks(self, line: TeardownLine, places: LinePlaces) -> list[str]:
        described = line.description
        checks = []
        if described.marks:
            checks.append(f"Its marks are where they were: {plain_text(described.marks)}")
        if described.orientation:
            checks.append(f"It faces: {plain_text(described.orientation)}")
        partners = {part.place: part.partner for part in line.parts if part.partner}
        if len(set(partners.values())) == 1 and len(partners) == len(line.parts):
            checks.append(f"It is with its partner: {plain_text(next(iter(partners.values())))}")
        else:
            checks += [f"{place}: it is with its partner, {plain_text(own)}" for place, own in partners.items()]
        if places.places or described.places:
            checks.append(f"Each is at its own place: {plain_text(', '.join(described.places))}")
        elif described.count > 1:
            checks.append(f"All {described.count} are fitted")
        state = described.state or next((seen.text for seen in self.record.states if seen.after == line.id), "")
        if state:
            checks.append(f"State before it went on, as on the way down: {plain_text(state)}")
        return checks

    def _places_of(self, line: TeardownLine) -> LinePlaces:
        words = [place.rpartition(" ") for place in line.description.places]
        names = {word for word, _, _ in words}
        if len(words) < 2 or len(names) != 1:
            return LinePlaces()
        return LinePlaces(next(iter(names)), tuple(own for _, _, own in words))

    def _part(self, line: TeardownLine) -> str:
        """The part of a line in the kit."""
        described, what = line.description, plain_text(line.description.what)
        ident = self.book.name(what, "kit", default="part")
        part: dict[str, Any] = {"title": sentence_case(what)}
        if described.count > 1:
            part["quantity"] = str(described.count)
        replaced = [each for each in line.parts if each.fate == "replace"]
        if is_seal(what) or is_used_once(what):
            part["discard"] = True
        if replaced:
            part["lot"] = "required"
        self.book.parts[ident] = part
        return ident

    def _tighten(
        self, what: str, thread: str, groups: list[FastenerGroup], section: DraftSection, *, several: bool
    ) -> None:
        """The operation that tightens the fasteners of one thread."""
        kinds = unique(group.kind for group in groups)
        kind = f"{kinds[0]}s" if len(kinds) == 1 else "fasteners"
        title = f"{what} {kind}{f' {thread}' if several and thread else ''}"
        joint = self.book.name(title, "joint", default="joint")
        count = sum(group.count for group in groups)
        drawn: dict[str, Any] = {"title": sentence_case(title), "thread": thread or ASK, "lubricant": ASK}
        if count <= 2:
            drawn["layout"] = " ".join(str(number) for number in range(1, count + 1))
        else:
            drawn |= {"layout": ASK, "count": count}
        comments = []
        lengths = [group for group in groups if group.length is not None or group.where]
        if len(lengths) > 1:
            comments.append("Lengths and places, for `groups` once the layout is drawn:")
            comments += [f"  {fasteners_text(group)}" for group in lengths]
        self.book.joints[joint] = Noted(drawn, tuple(comments)) if comments else drawn
        self.book.instruments.setdefault(WRENCH, {"kind": "torque", "title": "Torque wrench"})
        operation: dict[str, Any] = {
            "id": self.book.name(f"tighten {title}"),
            "title": f"Tighten the {title}",
            "after": [self._last],
            "tighten": {"joint": joint, "with": WRENCH, "stages": [{"torque": ASK}]},
            "undo": {"do": f"Loosen the {count} {kind} a little at a time, in the reverse of the tightening order"},
        }
        section.operations.append(
            Noted(operation, ("Add the stages that the manual prints: torques, then angles as {angle: ...}.",))
        )
        self._last = operation["id"]

    def _comments(self, line: TeardownLine) -> list[str]:
        """What the teardown says about a line that has no key of its own."""
        described = line.description
        found = [f"Line {line.id} of the teardown: {described.entered or described.what}"]
        found += [f"Words kept: {described.remark}"] if described.remark else []
        found += [f"Note: {note.text}" for note in line.notes]
        found += [f"Was put back for a while{f': {each.reason}' if each.reason else ''}" for each in line.put_backs]
        found += [
            f"Picture: {each.name}{f' ({each.text})' if each.text else ''}, sha256 {each.sha256[:12]}"
            for each in line.pictures
        ]
        if line.inserted:
            found.append("This line was entered later: check its place in the order")
        return found

    # --- measured while it was together ---------------------------------------------------------------

    def _finish(self) -> None:
        section = self.book.section("Measure the assembly", "These were measured while it was together.")
        readings = [each for each in valid_readings(self.record.together) if not each.lines_off]
        by_name: dict[str, list[TeardownReading]] = {}
        for each in readings:
            by_name.setdefault(each.name, []).append(each)
        moving = [plain_text(line.description.what) for line in self.lines if is_moving(line.description.what)]
        if moving:
            turned: dict[str, Any] = {
                "id": self.book.name("turn by hand"), "title": "Turn it twice by hand", "after": [self._last],
                "check": ["It turns freely through two turns, without a tight spot or a knock"],
                "undo": {"do": "Turn it again"},
            }  # fmt: skip
            section.operations.append(turned)
            self._last = turned["id"]
        for same in by_name.values():
            self._measure_together(same, section)
        counted = {
            "id": self.book.name("count tools"), "title": "Count tools and parts, cover the openings",
            "after": [self._last],
            "check": ["No tool, wipe or part is left over or missing", "All openings are covered, and it is tagged"],
            "undo": {"do": "Count again"},
        }  # fmt: skip
        section.operations.append(counted)

    def _measure_together(self, readings: list[TeardownReading], section: DraftSection) -> None:
        name = plain_text(readings[0].name)
        shown = "; ".join(reading_text_of(each) for each in readings)
        if name.lower() in _WORDS_ONLY[:1]:
            self.book.tail.append(f"Measured on the way down, for comparison only: {shown}")
            return
        operation: dict[str, Any] = {"id": self.book.name(f"measure {name}"), "title": f"Measure: {name}"}
        if self._last:
            operation["after"] = [self._last]
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
            operation["record"] = recorded_values(self.book, values, "")
        operation["undo"] = {"do": "Measure it again"}
        section.operations.append(Noted(operation, (f"On the way down: {shown}",)))
        self._last = operation["id"]

    def _notes(self) -> None:
        self.book.tail += [f"Note of the teardown: {note.text}" for note in self.record.notes]
        self.book.tail += [f"Picture of the whole: {each.name} {each.text}".rstrip() for each in self.record.pictures]
        for item in self.record.checklist:
            if item.skipped:
                self.book.tail.append(f"Not measured on the way down: {item.name} ({item.skipped})")
