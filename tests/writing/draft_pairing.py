"""Pairs the operations of a finished procedure with those of a draft, by stated criteria, and names each miss.

The work of an operation is one or more of:

- measure: each value that it records, named by the words of its question;
- tighten: the joint that it tightens, named by the words of the joint's title;
- the kind that the first verb of its title says (fit, seal, inspect, clean, turn ...), for each object of that verb.
  A title that only says `Tighten ...`, or `Measure ...` or `Inspect ...` with values, has no other work.

A finished operation is held if each of its works is in the draft, and the order is held:

- same kind of work;
- same parts: of all words of both names, at least half are in both, without verbs and articles (Jaccard index 0.5). The
  name ends at the first preposition; if nothing has that name, it goes on to the end (`O-rings on the coolant pipe`);
- `clean` in the draft may name less, which is more: `Chase the threads` holds `Chase the threads of the block`;
- each work of the draft is paired once, the best names first. Only `clean` and `inspect` may serve several;
- place in the order: what must come before it in the finished procedure and is held, comes before it in the draft too,
  by the draft's own `after`.
"""

import re
from collections import Counter
from pathlib import Path

from msgspec import Struct

from benchflow.procedure.model import Operation, Procedure
from benchflow.procedure.reader import read
from benchflow.session.teardown.fold_teardown import load_teardown
from benchflow.session.teardown.prompt_text import read_check
from benchflow.writing.drafts.draft_source import DraftSource, read_draft_source
from tests.driving.script import intent
from tests.driving.teardown_script import SKIP_REST, TeardownScript

_VERBS = {
    "fit": "fit lay put push press hang install mount seat slide drive screw insert slip drop lower lift",
    "tighten": "tighten torque draw",
    "measure": "measure",
    "seal": "seal",
    "clean": "wash clean chase wipe dry degrease",
    "inspect": "inspect check look find have decide examine",
    "turn": "turn rotate spin",
    "set": "set align time",
    "release": "pull release free",
    "fill": "fill prime pour oil grease",
    "test": "test run",
    "count": "count",
}
_KIND_OF = {verb: kind for kind, verbs in _VERBS.items() for verb in verbs.split()}
_NO_NAME = frozenset(
    re.findall(
        r"\w+",
        "a an the of to at in on into with for and or by from its it their them both all each new old own up down off "
        "home again until before after two that this is are be",
    )
)
_FASTENER = frozenset(["bolt", "screw", "nut", "fastener", "stud"])
_SAME_WORD = {"camshaft": "cam", "crankshaft": "crank", "sealing": "gasket"}
_VERB = "|".join(_KIND_OF)
_WHOLE = frozenset({"turn", "set", "count", "fill", "test"})
_END_OF_OBJECT = re.compile(
    r"\s+(?:with|into|in|on|onto|to|from|over|under|using|by|for|until|after|before)\s+.*$", re.I
)
_SHARED = frozenset({"clean", "inspect"})
SAME = 0.5
"""Share of the words of two names that have to be in both."""


class Work(Struct, frozen=True):
    """One work of an operation: the kind and the words of what it is done to."""

    operation: str
    kind: str
    words: frozenset[str]
    more: frozenset[str]  # with what stands behind a preposition


class Miss(Struct, frozen=True):
    """A finished operation that the draft does not hold, and why."""

    operation: str
    title: str
    reason: str
    detail: str = ""


class Pairing(Struct, frozen=True):
    """The result: which finished operations the draft holds, the misses, and what the draft has besides."""

    finished: int
    held: dict[str, tuple[str, ...]]
    misses: tuple[Miss, ...]
    extra: tuple[str, ...]

    @property
    def share(self) -> float:
        """The share of the finished operations that the draft holds."""
        return len(self.held) / self.finished

    @property
    def reasons(self) -> Counter[str]:
        """The number of misses for each reason."""
        return Counter(miss.reason for miss in self.misses)


def words_of(text: str) -> frozenset[str]:
    """The words of a name in the singular, without verbs and articles."""
    found = set()
    for word in re.findall(r"[a-z0-9][a-z0-9-]*", text.lower()):
        plain = word if word.endswith(("ss", "us")) or len(word) < 4 else word.removesuffix("s")
        plain = _SAME_WORD.get(plain, plain)
        if plain not in _NO_NAME and plain not in _KIND_OF:
            found.add(plain)
    return frozenset(found)


def works_of(operation: Operation, procedure: Procedure) -> list[Work]:
    """The works of an operation."""
    found = []
    for value in operation.record:
        asked = value.ask or value.name.replace("-", " ")
        named = [slot for slot in value.slots if not slot.isdigit()]
        for slot in named or [""]:
            words = words_of(f"{asked} {slot}")
            found.append(Work(operation.id, "measure", words, words))
    if operation.tighten is not None:
        joint = procedure.joints_by_id[operation.tighten.joint]
        words = words_of(joint.title) - _FASTENER
        found.append(Work(operation.id, "tighten", words, words))
    kind, text = _kind_and_object(operation.title)
    if found and (kind in ("tighten", "measure") or (kind == "inspect" and operation.record)):
        return found
    return found + [Work(operation.id, kind, words_of(_END_OF_OBJECT.sub("", each)), words_of(each))
                    for each in _objects(text)]  # fmt: skip


def _objects(text: str) -> list[str]:
    """The objects of a verb: ``plunger and spring of the valve`` has two. There is none behind a second verb."""
    text = re.split(rf"\s+and\s+(?=(?:{_VERB})\b)", text, flags=re.I)[0]
    first, _, second = text.partition(" and ")
    if not second or _END_OF_OBJECT.search(first) or re.search(r"\bof\b", first):
        return [text]
    tail = re.search(r"\sof\s.*$", second)
    return [f"{first}{'' if tail is None else tail[0]}", second]


def _kind_and_object(title: str) -> tuple[str, str]:
    """The kind of the first verb of a title, and what stands behind it."""
    if re.search(r"\b(?:sealant|bead)\b", title, re.I):
        return "seal", re.sub(r"^.*?\b(?:on|to|round)\b\s*", "", title, count=1)
    kinds = [(found.start(), found.end(), _KIND_OF[found[0].lower()]) for found in re.finditer(r"[A-Za-z]+", title)
             if found[0].lower() in _KIND_OF]  # fmt: skip
    if not kinds:
        return "other", title
    _, end, kind = kinds[0]
    fits = next((each for each in kinds if each[2] == "fit"), None)
    if kind == "fill" and fits is not None:  # "oil the followers and put each into its bore"
        return "fit", title[end : fits[0]]
    text = re.sub(r"^\s*(?:in|on|for|into|to)\b", "", title[end:].partition(":")[0])
    text = re.sub(rf"^\s*and\s+(?:{_VERB})\b", "", text, flags=re.I)  # "inspect and measure the rail"
    return ("set" if kind == "turn" and "mark" in _objects(text)[0] else kind), text


def _likeness(one: Work, other: Work) -> float:
    """How alike two works are, from 0 to 1. `Turn it`, `Fill it` mean the whole assembly: their kind is enough."""
    if one.kind != other.kind:
        return 0.0
    if one.kind in ("turn", "set", "count") or (one.kind in _WHOLE and not other.words):
        return SAME
    if one.kind == "clean" and other.words and other.words <= one.more:
        return 1.0
    return max(_jaccard(one.words, other.words), 0.9 * _jaccard(one.more, other.words))


def _jaccard(one: frozenset[str], other: frozenset[str]) -> float:
    return len(one & other) / len(one | other) if one | other else 0.0


def _ancestors(procedure: Procedure) -> dict[str, set[str]]:
    """For each operation all that must come before it by `after` and by time windows."""
    direct = {
        each.id: {ref.name for ref in each.after} | {window.operation.name for window in each.time}
        for each in procedure.operations
    }
    found: dict[str, set[str]] = {}

    def walk(ident: str) -> set[str]:
        if ident not in found:
            found[ident] = set()
            found[ident] = set().union(*({before} | walk(before) for before in direct[ident] if before in direct))
        return found[ident]

    for ident in direct:
        walk(ident)
    return found


def pair(finished: Procedure, draft: Procedure) -> Pairing:
    """Pair the operations of both procedures."""
    offered = [work for operation in draft.operations for work in works_of(operation, draft)]
    wanted = [work for operation in finished.operations for work in works_of(operation, finished)]
    ranked = sorted(
        ((_likeness(one, other), -index, -at) for index, one in enumerate(wanted) for at, other in enumerate(offered)),
        reverse=True,
    )
    partner: dict[int, int] = {}
    used: set[int] = set()
    for likeness, index, at in ranked:
        if likeness < SAME:
            break
        if -index not in partner and (-at not in used or offered[-at].kind in _SHARED):
            partner[-index] = -at
            used.add(-at)
    partners: dict[str, tuple[str, ...]] = {}
    misses: list[Miss] = []
    for operation in finished.operations:
        indexes = [index for index, work in enumerate(wanted) if work.operation == operation.id]
        lacking = [wanted[index] for index in indexes if index not in partner]
        if lacking:
            misses.append(_missing(operation, lacking, offered))
        else:
            partners[operation.id] = tuple(dict.fromkeys(offered[partner[index]].operation for index in indexes))
    misses += _out_of_order(finished, draft, partners)
    wrong = {miss.operation for miss in misses}
    held = {ident: own for ident, own in partners.items() if ident not in wrong}
    paired = {ident for own in partners.values() for ident in own}
    extra = tuple(each.id for each in draft.operations if each.id not in paired)
    return Pairing(len(finished.operations), held, tuple(misses), extra)


def _missing(operation: Operation, lacking: list[Work], offered: list[Work]) -> Miss:
    work = lacking[0]
    near = [each for each in offered if max(_jaccard(work.words, each.words), _jaccard(work.more, each.words)) >= SAME]
    detail = f"{work.kind}: {' '.join(sorted(work.words))}"
    if near:
        reason = "another kind of work on the part"
        detail += f"; the draft has {', '.join(sorted({each.operation for each in near}))}"
    else:
        reason = "nothing on the part"
    return Miss(operation.id, operation.title, reason, detail)


def _out_of_order(finished: Procedure, draft: Procedure, partners: dict[str, tuple[str, ...]]) -> list[Miss]:
    before = _ancestors(draft)
    found = []
    for operation in finished.operations:
        own = partners.get(operation.id, ())
        for ref in operation.after if own else ():
            first = [ident for ident in partners.get(ref.name, ()) if ident not in own]
            if any(not any(ident in before[mine] for mine in own) for ident in first):
                reversed_ = any(mine in before[ident] for ident in first for mine in own)
                reason = "order reversed" if reversed_ else "order not held"
                found.append(
                    Miss(operation.id, operation.title, reason, f"{ref.name} ({', '.join(first)}) comes first")
                )
                break
    return found


def teardown_of(text: str, folder: Path) -> DraftSource:
    """The draft of a teardown that is written line by line; ``? item: answer`` answers the checklist."""
    script = TeardownScript(folder, simulated=True)
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    script.do("open", by="Robin", unit="T-1", what=_subject(text))
    for line in lines:
        if line.startswith("? "):
            record = script.record
            prompt = read_check(line[2:].replace(":", "", 1), record.checklist[0], record)
            assert prompt.intent is not None, (line, prompt.problems)
            assert all(reply["ok"] for reply in script.send(prompt.intent))
    script.send(SKIP_REST)
    offs = [line for line in lines if not line.startswith("? ")]
    for line, reply in zip(offs, script.send(*(intent("off", text=line) for line in offs)), strict=True):
        assert reply["ok"], (line, reply)
    assert load_teardown(script.path).lines
    return read_draft_source(script.path)


def _subject(text: str) -> str:
    """What came apart: the first comment line behind ``of an invented``."""
    found = re.search(r"of an invented ([^,.]+?)(?:,|\.)", text)
    return found[1] if found else "unit"


def procedure_of(text: str) -> Procedure:
    """The procedure in a text, which must be without errors."""
    result = read(text)
    assert result.procedure is not None, [str(problem) for problem in result.problems]
    return result.procedure
