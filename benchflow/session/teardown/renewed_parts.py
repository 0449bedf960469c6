"""Words of the trade for parts that are not used again: gaskets, seals, split pins.

Source: common practice, no source.
"""

import re

_SEAL = re.compile(
    r"\b(?:gaskets?|seals?|o-?rings?|sealing (?:washers?|rings?)|crush washers?|copper (?:washers?|rings?)|"
    r"joint rings?)\b(?! (?:carriers?|holders?|housings?|retainers?|plates?|covers?|flanges?|seats?|faces?|bores?)\b)",
    re.I,
)
_ONCE = re.compile(
    r"\b(?:split pins?|cotters?|cotter pins?|(?:lock )?tab washers?|stretch bolts?)\b",
    re.I,
)
_SPRUNG_ONCE = re.compile(r"\b(?:roll|spring|split|cotter)\b.*\bpins?\b|\brivets?\b|\btab washers?\b", re.I)


def head_noun(text: str) -> str:
    """The part of a name before words that only say where or with what: ``magnet`` of ``magnet of the case``."""
    return re.split(r"\s+(?:with|of|at|for|from|in|on|under|behind)\s+", text.strip(), maxsplit=1)[0]


def is_seal(text: str) -> bool:
    """True for a gasket, a seal or an O-ring, which is never used again."""
    return _SEAL.search(head_noun(text)) is not None


def is_used_once(text: str) -> bool:
    """True for a split pin, a lock tab washer or a stretch bolt, which is renewed each time."""
    return _ONCE.search(head_noun(text)) is not None


def is_pin_renewed(kind: str) -> bool:
    """True for a pin, rivet or tab washer that is deformed when it is fitted."""
    return _SPRUNG_ONCE.search(kind) is not None
