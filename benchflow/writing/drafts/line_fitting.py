"""Drafts the operations that fit the part of one teardown line again: seal, fit, tighten."""

import re
from collections.abc import Iterable
from typing import Any

from benchflow.session.teardown.renewed_parts import is_seal
from benchflow.session.teardown.teardown_record import StateSeen, TeardownRecord
from benchflow.writing.drafts.draft_book import (
    ASK,
    DraftBook,
    DraftSection,
    block_comment,
    plain_text,
    sentence_case,
    unique,
)
from benchflow.writing.drafts.draft_yaml import Noted
from benchflow.writing.drafts.drafted_joint import THREAD_LOCKER, WRENCH, DraftedJoint, drafted_joints
from benchflow.writing.drafts.fit_texts import fit_checks, fit_instruction, undo_instruction
from benchflow.writing.drafts.line_facts import LineFacts
from benchflow.writing.drafts.part_words import (
    has_spring,
    is_fastener,
    is_heavy,
    is_held,
    is_lip_seal,
)
from benchflow.writing.drafts.parts_inspection import PartsInspection
from benchflow.writing.drafts.unit_findings import found_comment, is_instruction

_LINES_BEFORE = 4  # how far back a state may refer to a nut
LEFT_HAND = "Left-hand thread: it tightens anticlockwise, and loosens clockwise"


class LineFitting:
    """Writes the operations of one line after another into a draft.

    ``last`` is the operation that was written last. The next one comes after it, and after those in ``waits``.
    """

    def __init__(self, book: DraftBook, record: TeardownRecord, inspection: PartsInspection) -> None:
        self.book, self.record, self.last = book, record, inspection.last
        self.inspected = inspection.done  # what was found there is a comment there
        self.waits: list[str] = []
        self._waited: set[str] = set()

    def wait_for(self, operations: Iterable[str]) -> None:
        """Let the next operation come after these too, unless an earlier one does."""
        self.waits += [each for each in operations if each and each not in self._waited]
        self._waited |= set(self.waits)

    def _after(self) -> list[str]:
        found = unique([self.last, *self.waits])
        self.waits = []
        return found

    def fit(self, facts: LineFacts, section: DraftSection) -> None:
        """Write the operations of one line."""
        line, what = facts.line, facts.what
        if facts.stayed_in:
            self._look(facts, section)
            return
        part = self._part(facts)
        loose = [(self._loose_part(facts, index), each) for index, each in enumerate(facts.loose)]
        bead = self._sealant(facts, section) if facts.takes_bead else ""
        joints = self._joints(facts)
        at_once = self._is_one_operation(facts, joints)
        operation: dict[str, Any] = {"id": self.book.name(f"fit {what}")}
        operation["title"] = f"Fit the {'new ' if facts.all_new else ''}{facts.name}"
        if at_once and not facts.is_own_thread:
            operation["title"] += f", and tighten {facts.word('its', 'their')} {joints[0].kinds}"
        if facts.each:
            operation["each"] = facts.each
        cautions = []
        if is_heavy(what):
            held = facts.word("It is heavy. Support it until it is", "They are heavy. Support them until they are")
            cautions.append({"danger": f"{held} held."})
        if has_spring(what):
            cautions.append({"warning": "A spring can fly off. Keep your face out of its line."})
        if cautions:
            operation["cautions"] = cautions
        operation["do"] = fit_instruction(facts, bead=bool(bead), tightens=at_once)
        windowed = bead and (at_once or not joints)  # its time window says that it comes after the bead
        before = [] if windowed else self._after()
        if before:
            operation["after"] = before
        operation["uses"] = [part, *(ident for ident, _ in loose)]
        if facts.thread_locked and joints:
            self.book.consumables.setdefault(THREAD_LOCKER, {"title": "Thread locker that the manual names"})
            operation["uses"].append(THREAD_LOCKER)
        state = self._state_of(facts)
        checks = fit_checks(facts, "" if is_held(state) else state, bead=bool(bead), tightens=at_once)
        operation["check"] = unique(checks)
        if not operation["check"]:
            del operation["check"]
        thrown = [part] if self.book.parts[part].get("discard") else []
        thrown += [ident for ident, _ in loose if self.book.parts[ident].get("discard")]
        operation["undo"] = {"do": undo_instruction(facts, at_once=at_once), **({"discard": thrown} if thrown else {})}
        above = self._comments(facts)
        if at_once:
            operation["tighten"] = joints[0].tighten
            if not facts.is_own_thread:
                operation["undo"]["do"] = f"{joints[0].loosen}. {operation['undo']['do']}"
            above += joints[0].above
            self.book.arrange(operation)
        section.operations.append(Noted(operation, tuple(above)))
        self.last = operation["id"]
        self.book.fits[what.lower()] = operation
        written = [operation, *([] if at_once else [self._tighten(each, section) for each in joints])]
        if facts.secured and joints:
            done = facts.secured.removesuffix("d") + "d" if facts.secured.endswith("wire") else facts.secured
            secured = f"{facts.word('It is', 'They are')} {done}"
            written[-1]["check"] = [*written[-1].get("check", []), secured]
            self.book.arrange(written[-1])
        if bead:
            written[-1]["time"] = {bead: ASK}
            self.book.arrange(written[-1])
        if facts.left_hand and joints:
            for each in written if at_once else written[1:]:
                each["cautions"] = [*each.get("cautions", []), {"caution": LEFT_HAND}]
                each["undo"]["do"] = f"{each['undo']['do']}. {LEFT_HAND}"
                self.book.arrange(each)
        self._hold(facts, written[1:] or written)
        if facts.is_pinned:
            self._pull_pin(facts, section)
        for piece in facts.unread:
            kept = "in the instruction" if is_instruction(piece) else "in a comment"
            self.book.keep(f"line {line.id}", piece, f"it is {kept}, as words")

    def _is_one_operation(self, facts: LineFacts, joints: list[DraftedJoint]) -> bool:
        """True if the part is fitted and tightened in one operation.

        That is so for a thread of its own, for one or two fasteners, and where sealant must not skin over in between.
        What is held or locked for the tightening, and many fasteners, have an operation of their own.
        """
        if len(joints) != 1 or facts.each or is_held(self._state_of(facts)):
            return False
        return facts.takes_bead or joints[0].count <= 2

    def _look(self, facts: LineFacts, section: DraftSection) -> None:
        """A part that was not taken off is looked at."""
        what = facts.what
        operation: dict[str, Any] = {"id": self.book.name(f"check {what}"), "title": f"Check the {what}"}
        operation["after"] = self._after()
        words = "; ".join(plain_text(each) for each in facts.remarks)
        operation["check"] = [
            f"{facts.word('It is in its place, and', 'They are in their places, and')} sound ({words})"
        ]
        operation["undo"] = {"do": f"Look at {facts.word('it', 'them')} again"}
        section.operations.append(Noted(operation, tuple(self._comments(facts))))
        self.last = operation["id"]

    def _pull_pin(self, facts: LineFacts, section: DraftSection) -> None:
        """The pin of a tensioner comes out once everything that it tensions is fitted."""
        operation = {
            "id": self.book.name(f"pull pin {facts.what}"), "title": f"Pull the pin of the {facts.what}",
            "after": [self.last], "check": ["It presses on what it tensions", "The pin is put away"],
            "undo": {"do": "Push it back, and put the pin in"},
        }  # fmt: skip
        section.operations.append(
            Noted(operation, ("It was pinned when it came off. Pull the pin where the manual does",))
        )
        self.last = str(operation["id"])

    # --- kit ------------------------------------------------------------------------------------------

    def _part(self, facts: LineFacts) -> str:
        """The part of a line in the kit."""
        ident = self.book.name(facts.what, "kit", default="part")
        part: dict[str, Any] = {"title": sentence_case(facts.what)}
        if facts.line.description.count > 1:
            part["quantity"] = str(facts.line.description.count)
        if facts.renewed:
            part["discard"] = True
        if facts.replaced and not is_seal(facts.what) and not is_fastener(facts.what):
            part["lot"] = "required"
        self.book.parts[ident] = part
        return ident

    def _loose_part(self, facts: LineFacts, index: int) -> str:
        """A small part that the words or fasteners of a line name, in the kit."""
        loose = facts.loose[index]
        ident = self.book.name(f"{facts.what} {loose.title}", "kit", default="part")
        part: dict[str, Any] = {"title": f"{sentence_case(loose.title)} of the {facts.what}"}
        if loose.count > 1:
            part["quantity"] = str(loose.count)
        if loose.is_new:
            part["discard"] = True
        self.book.parts[ident] = part
        return ident

    # --- sealant --------------------------------------------------------------------------------------

    def _sealant(self, facts: LineFacts, section: DraftSection) -> str:
        """The operation that puts the bead on. Returns its id."""
        consumable, what = "sealant", facts.what
        self.book.consumables.setdefault(consumable, {"title": "Sealant", "lot": "required"})
        operation: dict[str, Any] = {"id": self.book.name(f"seal {what}"), "title": f"Put sealant on the {what}"}
        operation["cautions"] = [{"caution": "Wet sealant irritates skin and eyes. Wear gloves."}]
        operation["do"] = (
            "Wipe both faces free of oil with solvent. Let them dry.\n"
            "Put the bead on, inside of the holes, as thick as the maker of the sealant prints."
        )
        operation["after"] = self._after()
        operation["uses"] = [consumable]
        operation["check"] = [
            "It is what the manual names for this face",
            "Both faces are dry and free of oil",
            "The bead is closed, and runs inside of the holes",
        ]
        operation["undo"] = {"do": "Wipe the sealant off both faces"}
        above = [f"Found during the teardown: {facts.seal_words}"]
        above += self.book.once(
            "Sealant was found here. The manual or the sealant's sheet prints its open time. Have the torques of what "
            "is fitted on it ready before the bead is laid: its time runs from then on."
        )
        above += self.book.once(block_comment("sealant-with-window"))
        section.operations.append(Noted(operation, tuple(above)))
        self.last = operation["id"]
        return self.last

    # --- fasteners ------------------------------------------------------------------------------------

    def _joints(self, facts: LineFacts) -> list[DraftedJoint]:
        """The joints of the fasteners of a line, one for each thread."""
        found = drafted_joints(self.book, facts)
        if found:
            self.book.instruments.setdefault(WRENCH, {"kind": "torque", "title": "Torque wrench"})
        return found

    def _tighten(self, joint: DraftedJoint, section: DraftSection) -> dict[str, Any]:
        """The operation that tightens a joint."""
        operation: dict[str, Any] = {
            "id": self.book.name(f"tighten {joint.title}"), "title": f"Tighten the {joint.title}",
            "after": [self.last], "tighten": joint.tighten, "undo": {"do": joint.loosen},
        }  # fmt: skip
        section.operations.append(Noted(operation, tuple(joint.above)))
        self.last = operation["id"]
        return operation

    # --- states ---------------------------------------------------------------------------------------

    def _state_of(self, facts: LineFacts) -> str:
        line = facts.line
        seen = (state.text for state in self.record.states if self._line_of_state(state) == line.id)
        return plain_text(line.description.state or next(seen, ""))

    def _line_of_state(self, state: StateSeen) -> str:
        """The line that a state is for: the last one before it, or the nut of `two gears locked for the nut`."""
        found = re.search(r"\bfor the (?:\w+ )*?(nut|bolt|screw)s?$", state.text.strip(), re.I)
        lines = list(self.record.lines)
        at = next((index for index, line in enumerate(lines) if line.id == state.after), -1)
        if found is None or at < 0:
            return state.after
        for line in reversed(lines[max(at - _LINES_BEFORE, 0) : at + 1]):
            named = f"{line.description.what} {' '.join(group.kind for group in line.description.fasteners)}"
            if re.search(rf"\b{found[1]}s?\b", named, re.I):
                return line.id
        return state.after

    def _hold(self, facts: LineFacts, operations: list[dict[str, Any]]) -> None:
        """Something is locked for this line: the operations need the lock, and a move frees it again."""
        text = self._state_of(facts)
        if not is_held(text):
            return
        name = next((own for own, words in self.book.locks.items() if words == text), "")
        if not name:
            name = self.book.name(_lock_name(text), "state", default="lock")
            self.book.locks[name] = text
            self.book.state[name] = {"values": ["free", "locked"], "start": "free",
                                     "title": sentence_case(_lock_name(text))}  # fmt: skip
            for value, title in (("locked", f"Lock it: {text}"), ("free", f"Free it again: {text}")):
                self.book.moves[self.book.name(f"{name} {value}", "move")] = {"title": title, "sets": {name: value}}
        for operation in operations:
            operation.setdefault("needs", {})[name] = "locked"
            operation["undo"]["needs"] = {**operation["undo"].get("needs", {}), name: "locked"}
            self.book.arrange(operation)

    # --- comments -------------------------------------------------------------------------------------

    def _comments(self, facts: LineFacts) -> list[str]:
        """Comments for what the teardown says about a line, but a procedure has no key for."""
        line = facts.line
        found = [f"Line {line.id} of the teardown: {line.description.entered or line.description.what}"]
        found += [f"Was put back for a while{f': {each.reason}' if each.reason else ''}" for each in line.put_backs]
        found += [
            f"Picture: {each.name}{f' ({each.text})' if each.text else ''}, sha256 {each.sha256[:12]}"
            for each in line.pictures
        ]
        if line.inserted:
            found.append("This line was entered later: check its place in the order")
        if is_lip_seal(facts.what):
            found += self.book.once(block_comment("lip-seal-fitted"))
        if line.id not in self.inspected:
            found += found_comment(self.book, facts)
        return found


def _lock_name(text: str) -> str:
    """The name of a state that locks something: ``flywheel locked with the tool`` is ``flywheel lock``."""
    held = re.split(r"\b(?:is |are )?(?:lock|jam|held|hold|block|pinned|wedged)", text, maxsplit=1, flags=re.I)[0]
    words = re.findall(r"[a-z0-9]+", held.lower())
    return f"{' '.join(words)} lock" if 0 < len(words) <= 4 else "lock"
