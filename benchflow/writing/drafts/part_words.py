"""Words of the trade that decide how a part is drafted: seals, fasteners with a thread, closing parts, moving parts.

Source: common practice, no source.
"""

import re

_SEAL = re.compile(
    r"\b(?:gaskets?|seals?|o-?rings?|sealing (?:washers?|rings?)|crush washers?|copper washers?|joint rings?)\b", re.I
)
_ONCE = re.compile(
    r"\b(?:split pins?|cotters?|cotter pins?|tab washers?|lock(?:ing)? tabs?|circlips?|snap rings?|roll pins?|"
    r"stretch bolts?)\b",
    re.I,
)
_CLOSING = re.compile(
    r"\b(?:cover|casing|case half|housing|head|pan|sump|lid|cap plate|end plate|bellhousing|rocker box)\b", re.I
)
_MOVING = re.compile(
    r"\b(?:crank(?:shaft)?|cams?|camshafts?|pistons?|valves?|rotor|shafts?|gears?|forks?|selectors?|chain|belt|sprocket|"
    r"balancer|balance shaft|rods?|rockers?|synchro\w*|hub|sleeve|clutch|flywheel|pushrods?)\b",
    re.I,
)
_HEAVY = re.compile(
    r"\b(?:crank(?:shaft)?|head|block|gearbox|transmission|flywheel|bellhousing|engine|axle|case half)\b", re.I
)
_SPRING = re.compile(r"\b(?:springs?|valves?|detents?|plungers?)\b", re.I)
_SEALANT = re.compile(
    r"\b(?:sealant|silicone|rtv|liquid gasket|sealing compound|sealed|no gasket|without (?:a )?gasket|gasket maker)\b",
    re.I,
)
UNTHREADED = frozenset({"circlip", "clip", "clamp", "pin", "rivet", "key", "washer"})
"""Kinds of fasteners that are not tightened."""


def is_seal(text: str) -> bool:
    """True for a gasket, a seal or an O-ring, which is never used again."""
    return _SEAL.search(text) is not None


def is_used_once(text: str) -> bool:
    """True for a split pin, tab washer, circlip and the like, which is renewed each time."""
    return _ONCE.search(text) is not None


def is_closing(text: str) -> bool:
    """True for a cover, housing or head: what it closes can no longer be reached."""
    return _CLOSING.search(text) is not None and not is_seal(text)


def is_moving(text: str) -> bool:
    """True for a part that turns or slides and could touch another one."""
    return (
        _MOVING.search(text) is not None
        and not (is_seal(text) or is_used_once(text) or is_fastener(text))
        and not re.search(r"\b(?:cover|cap|guide)s?\b", text, re.I)
    )


def is_heavy(text: str) -> bool:
    """True for a part that can crush."""
    return _HEAVY.search(text) is not None and not re.search(r"\b(?:gasket|cover|seal|bolt)s?\b", text, re.I)


def has_sealant(text: str) -> bool:
    """True for words about a liquid gasket that was found between two faces."""
    return _SEALANT.search(text) is not None


def is_tightened(kind: str) -> bool:
    """True for a kind of fastener with a thread. A roll pin or a circlip is only seated."""
    return (kind.split() or [""])[-1] not in UNTHREADED


def is_fastener(what: str) -> bool:
    """True if the part of a line is its own fastener, such as a nut or a drain plug."""
    return re.search(r"\b(?:nut|bolt|screw|stud|plug|switch|sensor)s?$", what.strip(), re.I) is not None


def is_plural(what: str) -> bool:
    """True for a name such as ``detent balls``."""
    return re.search(r"[^s]s$", what.strip()) is not None


def is_lip_seal(what: str) -> bool:
    """True for a lip seal, which is pressed in."""
    return re.search(r"\b(?:lip|shaft|oil|crank(?:shaft)?|front|rear) seals?$", what.strip(), re.I) is not None


def has_faces(what: str) -> bool:
    """True for a part that is set on the face of another one."""
    return (
        is_closing(what)
        or is_seal(what)
        or re.search(r"\b(?:plate|carrier|flange|pump|case)s?$", what, re.I) is not None
    )


def has_spring(text: str) -> bool:
    """True for a part that can fly off."""
    return _SPRING.search(text) is not None and not re.search(r"\b(?:cover|gasket|cap)s?\b", text, re.I)


def moving_words(text: str) -> list[str]:
    """The words of a text that name something that turns or slides, each once: ``gear``, ``belt``."""
    return list(dict.fromkeys(re.sub(r"(?<!s)s$", "", found.lower()) for found in _MOVING.findall(text)))
