"""The vocabulary of complaints: the words that customers and the trade use for one symptom, and which symptoms belong
together.

The groups and the weights are a judgement (common practice, no source).
"""

import re
from collections.abc import Iterable
from functools import cache
from typing import Final

from benchflow.session.state.come_back_events import WhenNoticed

SYMPTOM_WORDS: Final[dict[str, str]] = {
    "water": "water coolant antifreeze radiator",
    "oil": "oil oily",
    "fuel": "fuel petrol gasoline diesel",
    "grease": "grease greasy",
    "leak": "leak leakage drip dribble drop lose loss lost weep seep ooze puddle wet spill escape sweat",
    "oil-use": "use burn consume drink consumption",
    "smoke": "smoke smoky haze",
    "noise": "noise noisy sound loud racket",
    "tick": "tick tap click clatter chatter",
    "rattle": "rattle jingle tinkle",
    "knock": "knock thump thud rap bang clunk hammer slap ping pink detonate",
    "rumble": "rumble growl grumble hum whine grind roar howl drone squeal",
    "compression": "compression blowby",
    "power": "power gutless sluggish weak flat slow rev performance",
    "misfire": "misfire miss rough uneven stumble hunt lumpy shake vibrate splutter judder",
    "start": "start crank starter",
    "heat": "overheat boil steam hot heat temperature",
    "break": "break broke broken snap shear fracture crack split strip burst",
    "loose": "loose slack slip slipped undone",
    "seize": "seize stuck lock jam stiff",
    "pressure": "pressure lamp light",
    "damage": "damage wear worn score scuff pit",
    "dirt": "dirt debris metal swarf filings glitter foreign sludge",
    "fire": "fire flame",
    "emulsion": "milky mayonnaise emulsion creamy bubble foam",
    "gasket": "gasket",
    "timing": "timing",
    "valve": "valve",
    "bearing": "bearing",
    "brake": "brake",
}
"""The words for each symptom, or for the thing that a complaint is about. A word belongs to one symptom only."""

_KINDS_OF_NOISE: Final = ("tick", "rattle", "knock", "rumble")
NOISES: Final = frozenset({"noise", *_KINDS_OF_NOISE})
_WEAK_RUNNING: Final = {"power": 0.7, "misfire": 0.7, "compression": 0.6, "timing": 0.6, "valve": 0.5}

RELATED: Final[dict[str, dict[str, float]]] = {
    # People use the words for noises loosely.
    "noise": dict.fromkeys(_KINDS_OF_NOISE, 0.9),
    **{one: {other: 0.6 for other in sorted(NOISES) if other != one} for one in _KINDS_OF_NOISE},
    # A cylinder that does not seal, or opens at the wrong time, runs badly.
    "power": _WEAK_RUNNING,
    "misfire": _WEAK_RUNNING,
    "start": {**_WEAK_RUNNING, "fuel": 0.5},
    "compression": {"valve": 0.6, "power": 0.5},
    # Blue smoke is oil, white smoke is water past the head gasket.
    "smoke": {"oil-use": 0.9, "gasket": 0.6, "compression": 0.4},
    "oil-use": {"smoke": 0.9},
    "heat": {"water": 0.6, "gasket": 0.6},
    "emulsion": {"gasket": 0.9, "water": 0.6},
    "break": {"loose": 0.6, "damage": 0.5},
    "loose": {"break": 0.6},
    "seize": {"damage": 0.5, "break": 0.5},
    "damage": {"break": 0.5},
}
"""The symptoms that a complaint may mean although it names another one, with a weight from 0 to 1."""

FLUIDS: Final = frozenset({"water", "oil", "fuel", "grease"})
"""A complaint about one of them does not fit a failure that names only others."""

_NO_SUBJECT: Final = """
a all again and any are at be been bit before car did do does down engine for from get gets got goes had has have he her
high his if in is it its keep keeps like low motor my no not of on only or our out over s she since some something
still t that the their then there they thing this to up very was we were when with won you after an
"""
_LEFT_OUT: Final = frozenset(_NO_SUBJECT.split())
"""Words that do not say what is wrong."""
_LOSE_FOR_LOOSE: Final = re.compile(r"\bloos(?:ing|es)\b", re.I)
"""How ``losing`` and ``loses`` are often spelled."""
_WORD: Final = re.compile(r"[^\W\d_]+")
_WHEN: Final = re.compile(
    r"\b(?:when|only|if|while|once|until)\s+(?:it\s+(?:is|gets)\s+|it's\s+)?(hot|warm|cold)\b", re.I
)
_ENDINGS: Final = ("age", "ing", "ed", "es", "s", "e", "y")


def when_in(text: str) -> WhenNoticed:
    """``hot`` or ``cold`` where a complaint says so: ``rattles when cold``; otherwise ``""``."""
    found: set[WhenNoticed] = {"cold" if match[1].casefold() == "cold" else "hot" for match in _WHEN.finditer(text)}
    return found.pop() if len(found) == 1 else ""


def stem(word: str) -> str:
    """A word without its ending: ``leaks``, ``leaking`` and ``leaky`` are ``leak``, ``losing`` is ``los``."""
    word = word.casefold()
    for ending in _ENDINGS:
        if word.endswith(ending) and len(word) - len(ending) >= (3 if len(ending) > 1 else 2) and word != "gas":
            if ending == "s" and word.endswith("ss"):
                break
            word = word[: -len(ending)]
            if len(ending) == 1:
                break
            return _undoubled(word.removesuffix("e"))
    return _undoubled(word.removesuffix("e") if len(word) > 3 else word)


def _undoubled(word: str) -> str:
    return word[:-1] if len(word) > 2 and word[-1] == word[-2] else word


def stems(text: str) -> dict[str, str]:
    """The words in ``text`` that say something, by their stems. Words about hot and cold are left out."""
    joined = (
        _LOSE_FOR_LOOSE.sub("losing", _WHEN.sub(" ", text))
        .replace("anti-freeze", "antifreeze")
        .replace("blow-by", "blowby")
    )
    words = (word for word in _WORD.findall(joined.casefold()) if word not in _LEFT_OUT and len(word) > 1)
    return {stem(word): word for word in words}


def content_words(text: str) -> str:
    """The words of ``text`` as written, without those that say nothing: ``the, is, engine``."""
    return " ".join(word for word in _WHEN.sub(" ", text).split() if word.casefold() not in _LEFT_OUT)


def symptoms_in(text: str) -> frozenset[str]:
    """The symptoms that the words of ``text`` name."""
    symptoms = symptom_of_stem()
    return frozenset(symptoms[word] for word in stems(text) if word in symptoms)


@cache
def symptom_of_stem() -> dict[str, str]:
    """The symptom of each stem in the vocabulary."""
    return {stem(word): symptom for symptom, words in SYMPTOM_WORDS.items() for word in words.split()}


def corrected(word: str, known: Iterable[str], wrong_letter: int) -> str:
    """The known stem that ``word`` means: itself, or the nearest with a typing error; ``word`` if none is near.

    One error is allowed in a word of four letters or more, two from eight on. The first letter must be right. A wrong
    letter counts as ``wrong_letter`` errors: it often makes another word (slap, slip).
    """
    allowed = 0 if len(word) < 4 else 1 if len(word) < 8 else 2
    near: list[tuple[int, str]] = []
    for other in known:
        if other == word:
            return word
        if allowed and len(other) > 2 and other[0] == word[0] and abs(len(other) - len(word)) <= allowed:
            errors = typing_errors(word, other, wrong_letter)
            if errors <= allowed:
                near.append((errors, other))
    return min(near)[1] if near else word


def typing_errors(one: str, other: str, wrong_letter: int = 1) -> int:
    """The number of letters to insert, remove, replace or exchange with the next, to make ``other`` out of ``one``.

    It is the optimal string alignment distance. A letter to replace counts as ``wrong_letter``.
    """
    before: list[int] = []
    row = list(range(len(other) + 1))
    for i, letter in enumerate(one, 1):
        earlier, before, row = before, row, [i]
        for j, goal in enumerate(other, 1):
            cost = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + wrong_letter * (letter != goal))
            if i > 1 and j > 1 and letter == other[j - 2] and one[i - 2] == goal:
                cost = min(cost, earlier[j - 2] + 1)
            row.append(cost)
    return row[-1]
