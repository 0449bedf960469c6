"""Drafts how a part of a teardown goes back on: the operation that fits it, its sealant, its kit and its joints."""

import re
from typing import Any

from benchflow.session.teardown.part_text import fasteners_text
from benchflow.session.teardown.teardown_record import FastenerGroup, TeardownLine, TeardownRecord
from benchflow.writing.drafts.draft_book import ASK, DraftBook, DraftSection, plain_text, sentence_case, unique
from benchflow.writing.drafts.draft_yaml import Noted
from benchflow.writing.drafts.part_words import (
    has_faces,
    has_sealant,
    has_spring,
    is_fastener,
    is_heavy,
    is_lip_seal,
    is_moving,
    is_plural,
    is_seal,
    is_tightened,
    is_used_once,
)

WRENCH = "torque-wrench"


class FitDraft:
    """Writes the operations of the lines one after the other. ``last`` is the operation written last."""

    def __init__(self, book: DraftBook, record: TeardownRecord) -> None:
        self.book, self.record = book, record
        self.inspections: dict[str, str] = {}  # id of the line -> operation that inspects its part
        self.last = ""

    def write(self, line: TeardownLine, section: DraftSection) -> None:
        """Write the operations that fit the part of a line and tighten its fasteners."""
        described, what = line.description, plain_text(line.description.what)
        threaded = [group for group in described.fasteners if is_tightened(group.kind)]
        part = self._part(line)
        sealed = self._sealant(line, what, section)
        each = self._places(line)
        at = f" {{{each}}}" if each else ""
        operation: dict[str, Any] = {"id": self.book.name(f"fit {what}")}
        self.book.fits[what.lower()] = operation
        operation["title"] = f"Fit the {'new ' if _is_new(line) else ''}{_singular(what) if each else what}{at}"
        if each:
            operation["each"] = each
        cautions = []
        if is_heavy(what):
            cautions.append({"danger": "It is heavy. Support it until its fasteners hold it."})
        if has_spring(what):
            cautions.append({"warning": "A spring can fly off. Keep your face out of its line."})
        if cautions:
            operation["cautions"] = cautions
        operation["do"] = self._instruction(line, what, sealed=bool(sealed))
        operation["after"] = unique(
            [self.last if sealed != self.last or threaded else "", self.inspections.get(line.id, "")]
        )
        if not operation["after"]:
            del operation["after"]
        if sealed and not threaded:
            operation["time"] = {sealed: ASK}
        operation["uses"] = [part, *self._parts_in_words(line)]
        checks = self._checks(line, each)
        checks += [self._seated(group, operation["uses"]) for group in described.fasteners if group not in threaded]
        if len(threaded) > 1 or any(group.where or group.length is not None for group in threaded):
            checks += [f"In place, not tightened: {plain_text(fasteners_text(group))}" for group in threaded]
        if checks:
            operation["check"] = unique(checks)
        kept = "" if _is_new(line) else _kept_in(line)
        undo: dict[str, Any] = {"do": f"Take off the {what}{kept}"}
        if thrown := [each for each in operation["uses"] if self.book.parts[each].get("discard")]:
            undo["discard"] = thrown
        operation["undo"] = undo
        section.operations.append(Noted(operation, tuple(self._comments(line))))
        self.last = operation["id"]
        by_thread: dict[str, list[FastenerGroup]] = {}
        for group in threaded:
            by_thread.setdefault(group.thread, []).append(group)
        for thread, groups in by_thread.items():
            self._tighten(line, thread, groups, section, several=len(by_thread) > 1)
        if sealed and threaded:  # the open time of a sealant ends when the last fastener is tight
            section.operations[-1].value["time"] = {sealed: ASK}

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
        operation["do"] = "Clean and degrease both faces. Let them dry. Put the bead on."
        if self.last:
            operation["after"] = [self.last]
        operation["uses"] = [consumable]
        operation["check"] = ["Both faces are dry, and free of oil", "The bead is closed, and runs inside of the holes"]
        operation["undo"] = {"do": "Wipe the sealant off both faces"}
        comments = (
            "Sealant was found here. The manual prints its kind and open time. Have the torques of the next steps at",
            "hand before the bead is laid: its time runs from then on.",
            block_comment("sealant-with-window"),
        )
        section.operations.append(Noted(operation, comments))
        self.last = operation["id"]
        return self.last

    def _instruction(self, line: TeardownLine, what: str, *, sealed: bool) -> str:
        described = line.description
        it = "them" if is_plural(what) else "it"
        if _is_new(line):
            lines = [f"Take the new {what}. Compare {it} with the old."]
        elif (parts := _new_places(line)) and described.container:
            lines = [f"Bring the {what}{_from(line)}. New: {', '.join(parts)}."]
        else:
            lines = [f"Bring the {what}{_from(line)}. Clean {it}."]
        if _is_new(line) and described.container and described.fasteners and not is_fastener(what):
            lines[0] += f" Its fasteners are in {plain_text(described.container)}."
        if sealed:
            lines.append("Keep the sealed faces free of oil.")
        elif is_moving(what):
            lines.append("Oil what slides.")
        elif has_faces(what):
            lines.append("Its faces are clean and dry.")
        if described.marks:
            lines.append(f"Marks: {plain_text(described.marks)}.")
        if described.orientation:
            lines.append(f"It faces: {plain_text(described.orientation)}.")
        if described.remark:
            lines.append(f"Words of the teardown: {plain_text(described.remark)}.")
        return "\n".join(lines)

    def _seated(self, group: FastenerGroup, uses: list[str]) -> str:
        """The check of fasteners that are not tightened. Those that are used once are new, and in the kit."""
        text = plain_text(fasteners_text(group)).replace(", thread not said", "")
        if not is_used_once(group.kind):
            return f"{text}: seated"
        ident = self.book.name(group.kind, "kit", default="part")
        self.book.parts[ident] = {"title": sentence_case(group.kind), "discard": True}
        if group.count > 1:
            self.book.parts[ident]["quantity"] = str(group.count)
        uses.append(ident)
        return f"{text}: new, and seated"

    def _parts_in_words(self, line: TeardownLine) -> list[str]:
        """Kit parts for seals and parts used once that are only in the words of a line, such as a copper washer."""
        found = []
        for words in line.description.remark.split(";"):
            title = plain_text(words).strip()
            named = is_seal(title) or is_used_once(title)
            if named and len(title) <= 40 and not re.search(r"\b(?:no|without|not)\b", title, re.IGNORECASE):
                ident = self.book.name(title, "kit", default="part")
                self.book.parts[ident] = {"title": sentence_case(title), "discard": True}
                found.append(ident)
        return found

    def _checks(self, line: TeardownLine, each: str) -> list[str]:
        described = line.description
        checks = []
        if described.marks:
            checks.append(f"Its marks are where they were: {plain_text(described.marks)}")
        if described.orientation:
            checks.append(f"It faces: {plain_text(described.orientation)}")
        checks += _partner_checks(line)
        if (is_seal(described.what) or is_used_once(described.what)) and not _is_new(line):
            checks.append("The teardown says: use again. Most makers renew it")
        if each:
            checks.append(f"It is at its own place: {{{each}}}")
        elif described.places:
            checks.append(f"Each is at its own place: {plain_text(', '.join(described.places))}")
        elif described.count > 1:
            checks.append(f"All {described.count} are fitted")
        state = described.state or next((seen.text for seen in self.record.states if seen.after == line.id), "")
        if state:
            checks.append(f"State before it went on, as on the way down: {plain_text(state)}")
        if re.search(r"\block(?:s|ed|ing)?\b", state, re.IGNORECASE):
            self.book.questions.append(f"- {plain_text(state)}: what must not be turned then, and what unlocks it?")
        return checks

    def _places(self, line: TeardownLine) -> str:
        """The set of places that the operation is repeated over; "" if the part has one place."""
        places = line.description.places
        words = [place.rpartition(" ") for place in places]
        if len(places) < 2 or len({word for word, _, _ in words}) != 1:
            return ""
        own = [last for _, _, last in words]
        if len(set(own)) != len(own) or not all(re.fullmatch(r"\d{1,3}|[a-z]+", one) for one in own):
            return ""
        name = "-".join(re.findall(r"[a-z]+", (words[0][0] or _singular(line.description.what)).lower())) or "place"
        known = name if self.book.places.get(name) == own else ""
        if not known:
            known = self.book.name(name, "places", default="place")
            self.book.places[known] = own
        return known

    def _part(self, line: TeardownLine) -> str:
        """The part of a line in the kit."""
        described, what = line.description, plain_text(line.description.what)
        ident = self.book.name(what, "kit", default="part")
        part: dict[str, Any] = {"title": sentence_case(what)}
        if described.count > 1:
            part["quantity"] = str(described.count)
        if (is_seal(what) or is_used_once(what)) and _is_new(line):
            part["discard"] = True
        if any(each.fate == "replace" for each in line.parts):
            part["lot"] = "required"
        self.book.parts[ident] = part
        return ident

    def _tighten(
        self, line: TeardownLine, thread: str, groups: list[FastenerGroup], section: DraftSection, *, several: bool
    ) -> None:
        """The operation that tightens the fasteners of one thread."""
        what = plain_text(line.description.what)
        kinds = unique(group.kind for group in groups)
        kind = f"{kinds[0]}s" if len(kinds) == 1 else "fasteners"
        counts = [_total(group, line) for group in groups]
        count = sum(counts)
        kind = kind[:-1] if count == 1 else kind
        title = what if is_fastener(what) else f"{what} {kind}"
        title += f" {thread}" if several and thread else ""
        joint = self.book.name(title, "joint", default="joint")
        drawn: dict[str, Any] = {"title": sentence_case(title), "thread": thread or ASK, "lubricant": ASK}
        comments = []
        if _may_be_each(groups, line):
            drawn["layout"] = ASK
            place = f"line {line.id}"
            comments.append(self.book.keep(place, line.description.entered or what,
                                           f"{count} fasteners for {line.description.count} parts: how many are there? "
                                           "Draw all of them in `layout`", refused=True))  # fmt: skip
        elif count <= 2:
            drawn["layout"] = " ".join(str(number) for number in range(1, count + 1))
        else:
            drawn |= {"layout": ASK, "count": count}
        for odd in (one.text for part in line.parts for one in part.found if one.kind == "odd-bolt"):
            why = f"the joint counts {count} fasteners: is the odd bolt one of them?"
            comments.append(self.book.keep(f"line {line.id}", odd, why, refused=True))
        lengths = [group for group in groups if group.length is not None or group.where]
        if len(lengths) > 1:
            comments.append("Lengths and places, for `groups` once the layout is drawn:")
            comments += [f"  {fasteners_text(group)}" for group in lengths]
        self.book.joints[joint] = Noted(drawn, tuple(comments)) if comments else drawn
        self.book.instruments.setdefault(WRENCH, {"kind": "torque", "title": "Torque wrench"})
        loosen = f"the {count} {kind} a little at a time, in the reverse of the tightening order"
        operation: dict[str, Any] = {
            "id": self.book.name(f"tighten {title}"),
            "title": f"Tighten the {title}",
            "after": [self.last],
            "tighten": {"joint": joint, "with": WRENCH, "stages": [{"torque": ASK}]},
            "undo": {"do": f"Loosen {f'the {kind}' if count == 1 else loosen}"},
        }
        section.operations.append(
            Noted(operation, ("Add the stages that the manual prints: torques, then angles as {angle: ...}.",))
        )
        self.last = operation["id"]

    def _comments(self, line: TeardownLine) -> list[str]:
        """What the teardown says about a line that has no key of its own."""
        described = line.description
        found = [f"Line {line.id} of the teardown: {described.entered or described.what}"]
        found += [f"Note: {note.text}" for note in line.notes]
        found += [f"Was put back for a while{f': {each.reason}' if each.reason else ''}" for each in line.put_backs]
        found += [
            f"Picture: {each.name}{f' ({each.text})' if each.text else ''}, sha256 {each.sha256[:12]}"
            for each in line.pictures
        ]
        if line.inserted:
            found.append("This line was entered later: check its place in the order")
        if is_lip_seal(described.what):
            found.append(block_comment("lip-seal-fitted"))
        return found


def block_comment(ident: str) -> str:
    """The comment that names the building block for an operation."""
    return f"A building block for this: {ident} (benchflow blocks show {ident})"


def _is_new(line: TeardownLine) -> bool:
    """True if a new part goes on: every one is replaced, or it is a seal or used once and has no other fate."""
    what, fates = line.description.what, {part.fate for part in line.parts}
    return fates == {"replace"} or (fates <= {"", "replace"} and (is_seal(what) or is_used_once(what)))


def _new_places(line: TeardownLine) -> list[str]:
    return [part.place for part in line.parts if part.fate == "replace" and part.place]


def _partner_checks(line: TeardownLine) -> list[str]:
    """What each part belongs with. A new part is matched to it."""
    texts = {
        part.place: f"The new part is matched to: {plain_text(part.partner)}" if part.fate == "replace" or _is_new(line)
        else f"It is with its partner: {plain_text(part.partner)}"
        for part in line.parts if part.partner
    }  # fmt: skip
    if len(set(texts.values())) == 1 and len(texts) == len(line.parts):
        return [next(iter(texts.values()))]
    return [f"{place}: {text[:1].lower()}{text[1:]}" for place, text in texts.items()]


def _total(group: FastenerGroup, line: TeardownLine) -> int:
    """The number of fasteners of a group; `each` or `per` behind them counts for each part of the line."""
    return group.count * line.description.count if _says_each(group) else group.count


def _says_each(group: FastenerGroup) -> bool:
    return re.search(r"\b(?:each|per)\b", group.where, re.IGNORECASE) is not None


def _may_be_each(groups: list[FastenerGroup], line: TeardownLine) -> bool:
    """True if there are fewer fasteners than parts, so that their number may be that of one part."""
    return sum(_total(group, line) for group in groups) < line.description.count


def _singular(what: str) -> str:
    return re.sub(r"(?<=[^s])s$", "", what)


def _from(line: TeardownLine) -> str:
    return f" from {plain_text(line.description.container)}" if line.description.container else ""


def _kept_in(line: TeardownLine) -> str:
    it = "them" if is_plural(line.description.what) else "it"
    return f", and keep {it} in {plain_text(line.description.container)}" if line.description.container else ""
