"""Finds what the sentences of a step say besides figures: prohibitions, remedies, tries, a second person.

A draft takes only words with one meaning. The others are quoted beside the step, so that the author writes them.
"""

import re

from msgspec import Struct

from benchflow.session.teardown.fastener_text import read_fasteners

_NEVER = re.compile(
    r"\b(?:never|must not|must never|do not|don't|shall not|may not|cannot be allowed)\b", re.IGNORECASE
)
_IS_LIMIT = re.compile(r"\b(?:must|may|shall) not (?:be (?:more|less|greater) than|exceed)\s+[\d.]", re.IGNORECASE)
_MOVES = re.compile(
    r"\b(?:turn|rotat|lock|press|mov|lift|fit|lower|clos|open|slid|engag|start|crank|drop|push|pull|hit|touch|spin|"
    r"swing|rais|driv)\w*",
    re.IGNORECASE,
)
_REMEDY = re.compile(
    r"\s*(?:if|above|below|otherwise|else|over|under|out of limit|when (?:it is )?(?:too|above|below|over|under))\b",
    re.IGNORECASE,
)
_TRIES = re.compile(
    r"\b(?:at most |no more than |not more than |up to )?(?:once|twice|(?:two|three|four|five|\d{1,2}) times)"
    r"(?: at most)?\b",
    re.IGNORECASE,
)
_SECOND_PERSON = re.compile(
    r"\b(?:second person|another person|other person|second (?:mechanic|fitter|builder|pair of eyes)|independent check|"
    r"double[- ]check(?:ed)? by)\b",
    re.IGNORECASE,
)
_SIGNED = re.compile(r"\b(?:inspector|foreman|signed? (?:off )?by|signature|witness(?:ed)?)\b", re.IGNORECASE)
_NUMBERS = {
    "both": 2, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "eight": 8, "ten": 10, "twelve": 12,
}  # fmt: skip
_READINGS = re.compile(
    r"\b(?P<both>both)\b|\b(?:at|in|on|of(?: each of)?(?: the| all)?|each of(?: the)?)\s+"
    rf"(?P<count>\d{{1,2}}|{'|'.join(list(_NUMBERS)[1:])})\s+"
    r"(?:points?|places?|positions?|spots?|locations?|holes?|corners?|sides?|gears?|caps?|shafts?|journals?|bores?|"
    r"pistons?|rings?|valves?|cylinders?|discs?|rotors?|springs?|studs?|bolts?|screws?|shims?|pads?|teeth|readings?|measurements?)\b",
    re.IGNORECASE,
)
_FASTENERS = re.compile(
    r"(?P<count>\d{1,3}|two|three|four|five|six|eight|ten|twelve)\s*(?:[x×]\s*)?"
    r"(?P<noun>screws|bolts|nuts|studs|capscrews)\s+(?P<thread>M\d[\w.×x ]*?\d|\d[\d/#-]*-\d+)"
    r"(?!\w|\.\d)\s*(?:\((?P<more>[^()]*)\))?",
    re.IGNORECASE,
)
_CLASS = re.compile(r"(?<![\d.])(?:4\.6|4\.8|5\.6|5\.8|6\.8|8\.8|9\.8|10\.9|12\.9)(?![\d.])")
_LUBRICANTS = re.compile(
    r"\b(?:oiled|oil|dry|greased|grease|engine oil|waxed|molybdenum paste|thread lock(?:er)?)\b", re.I
)
_LUBRICANT_WORDS = {"oiled": "oil", "greased": "grease"}


class StepSentences(Struct, frozen=True):
    """The sentences of a step by what they say."""

    prohibitions: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()
    tries: tuple[str, ...] = ()
    second_person: str = ""
    signed: str = ""

    @property
    def inspector(self) -> bool:
        """True if the words say that the inspector signs."""
        pattern = r"\binspector\b.*\bsigns?\b|\bsigned (?:off )?by (?:the |an )?inspector\b"
        return re.search(pattern, self.signed, re.IGNORECASE) is not None

    @property
    def rules(self) -> tuple[str, ...]:
        """The prohibitions about something that moves, which may be collision rules."""
        return tuple(each for each in self.prohibitions if _MOVES.search(each))

    @property
    def not_taken(self) -> tuple[str, ...]:
        """The sentences that the draft has no key for. The author has to write them."""
        signed = (self.signed,) if self.signed and not self.second_person and not self.inspector else ()
        remedies = tuple(each for each in self.tries if not any(each in remedy for remedy in self.remedies))
        return (*self.remedies, *remedies, *signed)


def sentences_in(text: str) -> StepSentences:
    """What the sentences of a step say."""
    sentences = [each.strip() for each in re.split(r"(?<=[.;!?])\s+|\n", text) if each.strip()]
    second = next((each for each in sentences if _SECOND_PERSON.search(each)), "")
    signed = next((each for each in sentences if _SIGNED.search(each)), "")
    return StepSentences(
        tuple(each for each in sentences if _NEVER.search(each) and not _IS_LIMIT.search(each)),
        tuple(each for each in sentences if _REMEDY.match(each)),
        tuple(dict.fromkeys(found[0] for found in _TRIES.finditer(text))),
        second.rstrip(".;"), signed.rstrip(".;"),
    )  # fmt: skip


def readings_named(words: str) -> int:
    """The number of readings that words ask for (``at four points``, ``of both gears``); 0 if they name none."""
    found = _READINGS.search(words)
    if found is None:
        return 0
    count = (found["both"] or found["count"]).lower()
    number = _NUMBERS.get(count) or int(count)
    return number if 2 <= number <= 32 else 0


class NamedFasteners(Struct, frozen=True):
    """Fasteners in the words of a list: ``8 screws M8x1.25 (10.9, oiled)``."""

    count: int
    noun: str  # "screws"
    thread: str
    strength: str  # property class, "" if it is not named
    lubricant: str
    text: str


def fasteners_named(text: str) -> list[NamedFasteners]:
    """The fasteners with count and thread in a text outside of the steps, such as a list of the parts."""
    found = []
    for each in _FASTENERS.finditer(text):
        read = read_fasteners(f"1x {each['thread'].strip()}")
        if read.group is None or read.problems or not read.group.thread:
            continue
        more = each["more"] or ""
        strength, lubricant = _CLASS.search(more), _LUBRICANTS.search(more)
        oil = "" if lubricant is None else lubricant[0].lower()
        found.append(
            NamedFasteners(_NUMBERS.get(each["count"].lower()) or int(each["count"]), each["noun"].lower(),
                           read.group.thread, "" if strength is None else strength[0],
                           _LUBRICANT_WORDS.get(oil, oil), each[0].strip())
        )  # fmt: skip
    return found


def resolved_formula(words: str, names: dict[str, str]) -> str:
    """The formula in words with the names of values; "" if a word is not a value, or could be several of them.

    ``names`` has the words of each known value by its name.
    """
    text = re.sub(r"\bminus\b|−|–", "-", re.sub(r"\bplus\b", "+", words, flags=re.IGNORECASE), flags=re.IGNORECASE)
    parts = re.split(r"\s*([-+*/()])\s*", text.strip(" ,.:"))
    terms = [part.strip() for part in parts]
    out, used = [], 0
    for term in terms:
        if not term:
            continue
        if term in "-+*/()":
            out.append(term)
            continue
        wanted = set(re.findall(r"[a-z]+", term.lower())) - {"the", "of"}
        fitting = [name for name, own in names.items() if wanted and wanted <= set(re.findall(r"[a-z]+", own.lower()))]
        if len(fitting) != 1:
            return ""
        out.append(fitting[0])
        used += 1
    return " ".join(out) if used > 1 else ""
