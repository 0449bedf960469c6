"""Drafts the operations that fit the part of one teardown line again: seal, fit, tighten."""

import re
from typing import Any

from msgspec.structs import replace

from benchflow.session.teardown.part_text import fasteners_text
from benchflow.session.teardown.renewed_parts import is_seal
from benchflow.session.teardown.teardown_record import FastenerGroup, TeardownRecord
from benchflow.writing.drafts.draft_book import ASK, DraftBook, DraftSection, plain_text, sentence_case, unique
from benchflow.writing.drafts.draft_yaml import Noted
from benchflow.writing.drafts.fit_texts import fit_checks, fit_instruction, undo_instruction
from benchflow.writing.drafts.line_facts import LineFacts
from benchflow.writing.drafts.part_words import (
    has_spring,
    is_breakaway,
    is_closing,
    is_fastener,
    is_heavy,
    is_held,
    is_lip_seal,
    singular,
)

WRENCH = "torque-wrench"


class LineFitting:
    """Writes the operations of one line after another into a draft. ``last`` is the operation that was written last."""

    def __init__(self, book: DraftBook, record: TeardownRecord, last: str) -> None:
        self.book, self.record, self.last = book, record, last

    def fit(self, facts: LineFacts, section: DraftSection, inspection: str) -> None:
        """Write the operations of one line. ``inspection`` is the operation that inspects its parts, or ""."""
        line, what = facts.line, facts.what
        facts = replace(facts, each=self._places(facts))
        part = self._part(facts)
        loose = [(self._loose_part(facts, index), each) for index, each in enumerate(facts.loose)]
        bead = self._sealant(facts, section) if self._takes_bead(facts) else ""
        operation: dict[str, Any] = {"id": self.book.name(f"fit {what}")}
        operation["title"] = f"Fit the {'new ' if facts.all_new else ''}{facts.name}"
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
        operation["do"] = fit_instruction(facts, bead=bool(bead))
        before = unique([self.last if facts.tightened or not bead else "", inspection])
        if before:
            operation["after"] = before
        operation["uses"] = [part, *(ident for ident, _ in loose)]
        state = self._state_of(facts)
        checks = fit_checks(facts, "" if is_held(state) else state, bead=bool(bead), takes_bead=self._takes_bead(facts))
        operation["check"] = unique(checks)
        if not operation["check"]:
            del operation["check"]
        thrown = [part] if self.book.parts[part].get("discard") else []
        thrown += [ident for ident, _ in loose if self.book.parts[ident].get("discard")]
        operation["undo"] = {"do": undo_instruction(facts), **({"discard": thrown} if thrown else {})}
        section.operations.append(Noted(operation, tuple(self._comments(facts))))
        self.last = operation["id"]
        self.book.fits[what.lower()] = operation
        written = [operation, *self._tightened(facts, section)]
        if facts.secured and len(written) > 1:
            done = facts.secured.removesuffix("d") + "d" if facts.secured.endswith("wire") else facts.secured
            written[-1]["check"] = [f"{facts.word('It is', 'They are')} {done}, as found during the teardown"]
            self.book.arrange(written[-1])
        if bead:
            written[-1]["time"] = {bead: ASK}
            self.book.arrange(written[-1])
        self._hold(facts, written[1:] or written)
        for piece in facts.unread:
            self.book.keep(f"line {line.id}", piece, "it is in the instruction, as words")

    # --- kit ------------------------------------------------------------------------------------------

    def _part(self, facts: LineFacts) -> str:
        """The part of a line in the kit."""
        ident = self.book.name(facts.what, "kit", default="part")
        part: dict[str, Any] = {"title": sentence_case(facts.what)}
        if facts.line.description.count > 1:
            part["quantity"] = str(facts.line.description.count)
        if facts.renewed:
            part["discard"] = True
        if facts.replaced:
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

    def _places(self, facts: LineFacts) -> str:
        """The set of places that the operation is repeated over; "" if it is done once."""
        line, places = facts.line, facts.line.description.places
        words = [place.rpartition(" ") for place in places]
        own = [last for _, _, last in words]
        alike = len({part.partner for part in line.parts}) == 1 and len({part.fate for part in line.parts}) == 1
        if len(places) < 2 or len({word for word, _, _ in words}) != 1 or not alike or len(set(own)) != len(own):
            return ""
        if not all(re.fullmatch(r"\d{1,3}|[a-z]+", one) for one in own):
            return ""
        name = "-".join(re.findall(r"[a-z]+", (words[0][0] or singular(facts.what)).lower())) or "place"
        if self.book.places.get(name) != own:
            name = self.book.name(name, "places", default="place")
            self.book.places[name] = own
        return name

    # --- sealant --------------------------------------------------------------------------------------

    @staticmethod
    def _takes_bead(facts: LineFacts) -> bool:
        """True if sealant was found between two faces, and not on a thread or at a seal."""
        count = sum(group.count for group in facts.tightened)
        return bool(facts.seal_words) and not is_seal(facts.what) and (is_closing(facts.what) or count > 1)

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
        if self.last:
            operation["after"] = [self.last]
        operation["uses"] = [consumable]
        operation["check"] = [
            f"It is what the manual names for this face. Found during the teardown: {facts.seal_words}",
            "Both faces are dry and free of oil",
            "The bead is closed, and runs inside of the holes",
        ]
        operation["undo"] = {"do": "Wipe the sealant off both faces"}
        section.operations.append(
            Noted(
                operation,
                (
                    "Sealant was found here. The manual or the sealant's sheet prints its open time. Have the torques",
                    "of the next steps ready before the bead is laid: its time runs from then on.",
                    block_comment("sealant-with-window"),
                ),
            )
        )
        self.last = operation["id"]
        return self.last

    # --- fasteners ------------------------------------------------------------------------------------

    def _tightened(self, facts: LineFacts, section: DraftSection) -> list[dict[str, Any]]:
        """The operations that tighten the fasteners of a line, one for each thread."""
        by_thread: dict[str, list[FastenerGroup]] = {}
        for group in facts.tightened:
            by_thread.setdefault(group.thread, []).append(group)
        several = len(by_thread) > 1
        return [self._tighten(facts, thread, groups, section, several) for thread, groups in by_thread.items()]

    def _tighten(
        self, facts: LineFacts, thread: str, groups: list[FastenerGroup], section: DraftSection, several: bool
    ) -> dict[str, Any]:
        count = sum(group.count for group in groups)
        kinds = unique(group.kind for group in groups)
        kind = kinds[0] if len(kinds) == 1 else "fastener"
        if facts.is_own_thread or (kind == "fastener" and is_fastener(facts.what)):
            title = named = f"{facts.what}{f' {thread}' if several and thread else ''}"
        else:
            title = f"{facts.what} {kind}{'s' if count > 1 else ''}{f' {thread}' if several and thread else ''}"
            named = f"{kind}{'s' if count > 1 else ''}"
        joint = self.book.name(title, "joint", default="joint")
        drawn: dict[str, Any] = {"title": sentence_case(title), "thread": thread or ASK, "lubricant": ASK}
        comments = []
        above = ["Add the stages that the manual prints: torques, then angles as {angle: ...}."]
        if facts.counts_unknown and any(group.where for group in groups):
            drawn["layout"] = ASK
            comments.append("The count is one of several (see the line): draw all of them in the layout.")
        elif count < facts.line.description.count:
            drawn["layout"] = ASK
            fasteners, parts = f"{count} {kind}{'s' if count > 1 else ''}", facts.line.description.count
            why = f"{fasteners} for {parts} parts: how many are there?"
            comments.append(self.book.keep(f"line {facts.line.id}", facts.line.description.entered or facts.what,
                                           f"{why} Draw all of them in `layout`", refused=True))  # fmt: skip
        elif count <= 2 or facts.is_own_thread:
            drawn["layout"] = " ".join(str(number) for number in range(1, count + 1))
        else:
            drawn |= {"layout": ASK, "count": count}
        odd = [one.text for part in facts.line.parts for one in part.found if one.kind == "odd-bolt"]
        for text in unique(odd):
            why = f"the joint counts {count}: is the odd bolt one of them?"
            comments.append(self.book.keep(f"line {facts.line.id}", text, why, refused=True))
        lengths = [group for group in groups if group.length is not None or group.where]
        if len(lengths) > 1:
            comments.append("Lengths and places, for `groups` once the layout is drawn:")
            comments += [f"  {fasteners_text(group)}" for group in lengths]
        self.book.joints[joint] = Noted(drawn, tuple(comments)) if comments else drawn
        self.book.instruments.setdefault(WRENCH, {"kind": "torque", "title": "Torque wrench"})
        broke = [each.value for each in facts.line.values if each.value is not None and is_breakaway(each.name)]
        above += [
            f"It let go at {value.value} {value.unit} during the teardown: for comparison only." for value in broke
        ]
        loosen = f"Loosen the {named}"
        if count > 2 and not facts.is_own_thread:
            loosen = f"Loosen the {count} {named} a little at a time, in the reverse of the tightening order"
        operation: dict[str, Any] = {
            "id": self.book.name(f"tighten {title}"),
            "title": f"Tighten the {title}",
            "after": [self.last],
            "tighten": {"joint": joint, "with": WRENCH, "stages": [{"torque": ASK}]},
            "undo": {"do": loosen},
        }
        section.operations.append(Noted(operation, tuple(above)))
        self.last = operation["id"]
        return operation

    # --- states ---------------------------------------------------------------------------------------

    def _state_of(self, facts: LineFacts) -> str:
        line = facts.line
        seen = (state.text for state in self.record.states if state.after == line.id)
        return plain_text(line.description.state or next(seen, ""))

    def _hold(self, facts: LineFacts, operations: list[dict[str, Any]]) -> None:
        """Something is locked for this line: the operations need the lock, and a move frees it again."""
        text = self._state_of(facts)
        if not is_held(text):
            return
        name = next((own for own, words in self.book.locks.items() if words == text), "")
        if not name:
            name = self.book.name("lock", "state")
            self.book.locks[name] = text
            self.book.state[name] = {"values": ["free", "locked"], "start": "free", "title": sentence_case(text)}
            for value, title in (("locked", f"Lock it: {text}"), ("free", f"Free it again: {text}")):
                self.book.moves[self.book.name(f"{name} {value}", "move")] = {"title": title, "sets": {name: value}}
        for operation in operations:
            operation.setdefault("needs", {})[name] = "locked"
            operation["undo"]["needs"] = {**operation["undo"].get("needs", {}), name: "locked"}
            self.book.arrange(operation)

    # --- comments -------------------------------------------------------------------------------------

    @staticmethod
    def _comments(facts: LineFacts) -> list[str]:
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
            found.append(block_comment("lip-seal-fitted"))
        return found


def block_comment(ident: str) -> str:
    """The comment that names the building block for an operation."""
    return f"A building block for this: {ident} (benchflow blocks show {ident})"
