"""What a line of a teardown means for the assembly: new or used again, how many, which parts its words name."""

import re
from itertools import pairwise

from msgspec import Struct
from msgspec.structs import replace

from benchflow.session.state.event_basics import StoredQuantity
from benchflow.session.teardown.renewed_parts import is_pin_renewed, is_seal, is_used_once
from benchflow.session.teardown.teardown_record import FastenerGroup, TeardownLine, TeardownReading
from benchflow.writing.drafts.draft_book import plain_text
from benchflow.writing.drafts.part_words import (
    has_no_gasket,
    is_chosen_size,
    is_closing,
    is_condition,
    is_left_hand,
    is_pinned,
    is_plural,
    is_screwed_in,
    is_sealed,
    is_shim,
    is_thread_locked,
    is_tightened,
    part_in_words,
    parts_with,
    singular,
    stays_in,
)

_EACH = re.compile(r"\b(?:each|apiece|per \w+)\b", re.I)
_SAYS_REPLACE = re.compile(r"(?:replace|renew)\b", re.I)
_RENEWED = re.compile(
    r"\b(?:circlips?|snap rings?|roll pins?|spring pins?|staked|(?:each|every) time|thrown away)\b", re.I
)
"""Words of a replaced part that is new each time: it is thrown away whenever it comes off."""
_ONCE_LOOSE = re.compile(r"\b(?:washer|ring|pin|clip|circlip|gasket|seal)s?$", re.I)
_REPLACES = re.compile(r"\b(?:replaced?|renew(?:ed)?|new|discard(?:ed)?|throw|thrown)\b", re.I)
_COUNT_ALONE = re.compile(r"(\d{1,3})\s*[x×]", re.I)
_SECURED = re.compile(r"\b(?:staked|peened|lock[- ]?wired?|wired)\b", re.I)
_SAME_KIND = {"pin": ("pin", "dowel", "needle"), "circlip": ("circlip", "snap ring"), "clip": ("clip",)}


class LoosePart(Struct, frozen=True):
    """A small part that the words or the fasteners of a line name: ``copper washer``, ``roll pin``."""

    title: str
    count: int = 1
    is_new: bool = False
    of_fasteners: bool = False
    detail: str = ""  # its size, as it was written


class LineFacts(Struct, frozen=True):
    """A line as the draft understands it.

    ``renewed``: the part is thrown away each time. ``replaced``: the places whose part is replaced, ("",) for a line
    without places. ``remarks``: the words that were kept, piece by piece. ``unread``: those that were not understood.
    """

    line: TeardownLine
    what: str
    renewed: bool
    replaced: tuple[str, ...]
    loose: tuple[LoosePart, ...]
    remarks: tuple[str, ...]
    unread: tuple[str, ...]
    bag: str = ""
    each: str = ""  # the set of places that it is fitted over, one after another

    @property
    def all_new(self) -> bool:
        """True if every part of the line is a new one."""
        return self.renewed or (bool(self.replaced) and len(self.replaced) == len(self.line.parts))

    @property
    def old_places(self) -> tuple[str, ...]:
        """The places whose parts are used again."""
        return tuple(part.place for part in self.line.parts if part.place not in self.replaced)

    @property
    def name(self) -> str:
        """The part as an instruction calls it: ``rod cap {rod-cap}`` where each is fitted at its place."""
        return f"{singular(self.what)} {{{self.each}}}" if self.each else self.what

    @property
    def plural(self) -> bool:
        """True if the name of the parts is plural."""
        return not self.each and (self.line.description.count > 1 or is_plural(self.what))

    def at_one_place(self, count: int) -> int:
        """How many of ``count`` belong to one place of an operation that is repeated; all, if they do not divide."""
        places = len(self.line.description.places)
        return count // places if self.each and count % places == 0 else count

    def word(self, one: str, many: str) -> str:
        """``one`` for a single part, ``many`` for several."""
        return many if self.plural else one

    @property
    def seal_words(self) -> str:
        """The words about sealant that was found; "" if there are none."""
        described, line = self.line.description, self.line
        words = (*self.remarks, described.condition, *(note.text for note in line.notes),
                 *(found.text for part in line.parts for found in part.found))  # fmt: skip
        return "; ".join(plain_text(each) for each in words if is_sealed(each) or has_no_gasket(each))

    @property
    def takes_bead(self) -> bool:
        """True if sealant was found between two faces, and not on a thread or at a seal."""
        count = sum(group.count for group in self.tightened)
        return bool(self.seal_words) and not is_seal(self.what) and (is_closing(self.what) or count > 1)

    @property
    def is_own_thread(self) -> bool:
        """True if the thread is that of the part itself: a plug, a nut, a switch."""
        groups = self.tightened
        if not groups or not is_screwed_in(self.what) or any(group.length is not None for group in groups):
            return False
        own = singular(self.what).lower()
        kinds = {group.kind.rpartition(" ")[2] for group in groups} - {""}
        return sum(group.count for group in groups) == self.line.description.count and all(
            kind in own for kind in kinds
        )

    @property
    def secured(self) -> str:
        """How the fasteners were secured, in a word of the teardown: ``staked``; "" if the line does not say it."""
        texts = (self.what, *self.remarks, self.line.description.condition, self.line.description.fate_reason,
                 *(f"{group.kind} {group.where}" for group in self.groups))  # fmt: skip
        found = _SECURED.search(" ".join(texts))
        return found[0].lower() if found else ""

    @property
    def stayed_in(self) -> bool:
        """True if the words say that the part was not taken off."""
        return any(stays_in(each, self.what) for each in self.remarks)

    @property
    def is_pinned(self) -> bool:
        """True if a pin holds the spring of the part back, and is pulled once it is fitted."""
        described = self.line.description
        words = (*self.remarks, described.state, described.condition, *(note.text for note in self.line.notes))
        return any(is_pinned(each) for each in words) and re.search(r"\btensioner\b", self.what, re.I) is not None

    @property
    def left_hand(self) -> bool:
        """True if the words say that a thread is left-hand."""
        described = self.line.description
        words = (self.what, *self.remarks, described.condition, *(note.text for note in self.line.notes),
                 *(f"{group.kind} {group.where}" for group in self.groups))  # fmt: skip
        return any(is_left_hand(each) for each in words)

    @property
    def thread_locked(self) -> bool:
        """True if the words say that thread locker was on the threads."""
        described = self.line.description
        words = (*self.remarks, described.condition, *(note.text for note in self.line.notes),
                 *(group.where for group in self.groups))  # fmt: skip
        return any(is_thread_locked(each) for each in words)

    @property
    def had_no_gasket(self) -> bool:
        """True if the words say that there was no gasket."""
        return any(has_no_gasket(each) for each in self.remarks)

    @property
    def tightened(self) -> tuple[FastenerGroup, ...]:
        """The fasteners that are tightened, with their whole count."""
        return tuple(group for group in self.groups if is_tightened(group.kind, group.thread))

    @property
    def groups(self) -> tuple[FastenerGroup, ...]:
        """The fasteners of the line; a count `each` is multiplied by the number of parts."""
        return tuple(_whole(group, self.line.description.count) for group in self.line.description.fasteners)

    @property
    def counts_unknown(self) -> bool:
        """True if a count is one of several, such as `2x M6 each side`, and nobody wrote how many."""
        return any(_EACH.search(group.where) for group in self.groups)


def line_facts(line: TeardownLine) -> LineFacts:
    """The facts of one line."""
    described = line.description
    pieces = tuple(piece.strip() for piece in described.remark.split(";") if piece.strip())
    alone = [int(found[1]) for piece in pieces if (found := _COUNT_ALONE.fullmatch(piece))]
    if len(alone) == 1 and described.count == 1 and not described.places:  # `interlock pins, 2x`
        described = replace(described, count=alone[0])
        line = replace(line, description=described)
    size = re.search(r"\s+(\d+(?:\.\d+)?)\s*mm$", described.what)
    if size is not None and is_shim(described.what):  # `shim input bearing 1.05 mm`
        described = replace(described, what=described.what[: size.start()])
        thickness = TeardownReading("thickness", StoredQuantity(size[1], "mm", size[0].strip()))
        line = replace(line, description=described, values=(*line.values, thickness))
    what = plain_text(described.what)
    used_again = bool(line.parts) and all(part.fate == "use-again" for part in line.parts)
    replaced = tuple(part.place for part in line.parts if part.fate == "replace")
    owner = _owner_of_fate(line, pieces)
    if owner:
        replaced = ()
    said_once = bool(replaced) and (_RENEWED.search(f"{what} {described.fate_reason}") is not None)
    loose: list[LoosePart] = []
    unread: list[str] = []
    for piece in pieces:
        fasteners = _renewed_fasteners(piece, line)
        if fasteners is not None:
            loose.append(fasteners)
            continue
        named = None if is_condition(piece) else part_in_words(piece)
        if named is not None and _SAYS_REPLACE.match(piece) and any(part.title == named[1] for part in loose):
            loose = [replace(part, is_new=True) if part.title == named[1] else part for part in loose]
        elif named is not None:
            once = _ONCE_LOOSE.search(named[1]) is not None and _REPLACES.search(piece) is not None
            is_new = is_seal(named[1]) or piece == owner or once
            loose.append(LoosePart(named[1], named[0], is_new, detail=plain_text(piece)))
            loose += [LoosePart(title, number) for number, title in parts_with(piece)[1:]]
        elif not (
            _COUNT_ALONE.fullmatch(piece)
            or is_thread_locked(piece)
            or is_sealed(piece)
            or has_no_gasket(piece)
            or stays_in(piece, what)
            or is_pinned(piece)
        ):
            unread.append(piece)
    for value in line.values:
        named = part_in_words(value.name) if is_chosen_size(value.name) else None
        if named is not None and named[1].lower() not in what.lower():
            loose.append(LoosePart(named[1], named[0]))
    loose += _loose_fasteners(line, what)
    loose += [LoosePart(title, number * group.count) for group in described.fasteners
              for number, title in parts_with(group.where)]  # fmt: skip
    return LineFacts(
        line,
        what,
        renewed=(is_seal(what) or is_used_once(what) or said_once) and not used_again,
        replaced=replaced,
        loose=tuple(loose),
        remarks=pieces,
        unread=tuple(unread),
        bag=plain_text(described.container),
    )


def _renewed_fasteners(piece: str, line: TeardownLine) -> LoosePart | None:
    """The fasteners of the line that words replace: ``replace nut`` beside ``1x nut M24x1.5``."""
    found = re.fullmatch(r"(?:replace|renew|new)\s+(?:the\s+)?(nut|bolt|screw|stud)s?", piece.strip(), re.I)
    if found is None:
        return None
    kind = found[1].lower()
    count = sum(group.count for group in line.description.fasteners if kind in group.kind.lower())
    return LoosePart(kind, count, is_new=True) if count else None


def _owner_of_fate(line: TeardownLine, pieces: tuple[str, ...]) -> str:
    """The piece of the words that the fate belongs to: ``drain plug, 1x M14x1.5, copper washer, replace``."""
    described = line.description
    if described.fate != "replace" or any(part.fate != "replace" for part in line.parts):
        return ""
    typed = [piece.strip() for piece in described.entered.split(",")]
    for before, piece in pairwise(typed):
        is_part = part_in_words(before) is not None and not is_condition(before)
        if piece.lower().startswith("replace") and before in pieces and is_part:
            return before
    return ""


def _loose_fasteners(line: TeardownLine, what: str) -> list[LoosePart]:
    """Roll pins, circlips and the like that hold the part, unless the line is about them."""
    found = []
    own = singular(what).lower()
    for group in line.description.fasteners:
        whole = _whole(group, line.description.count)
        if is_tightened(group.kind, group.thread):
            continue
        kind = group.kind.rpartition(" ")[2]
        if not kind or any(word in own for word in _SAME_KIND.get(kind, (kind,))):
            continue
        length = "" if group.length is None else f"{group.length.value} {group.length.unit}"
        detail = ", ".join(part for part in (length, group.where if whole is group else "") if part)
        found.append(LoosePart(group.kind, whole.count, is_pin_renewed(group.kind), of_fasteners=True, detail=detail))
    return found


def _whole(group: FastenerGroup, parts: int) -> FastenerGroup:
    """A group with its whole count: `1x M14x1.5 each` of three caps is three."""
    if parts < 2 or not re.fullmatch(r"(?:each|apiece|per \w+)(?: one)?", group.where.strip(), re.I):
        return group
    return FastenerGroup(group.count * parts, group.kind, group.thread, group.length, "")
