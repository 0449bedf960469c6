"""Words of the trade that decide how a part is drafted: seals, fasteners with a thread, closing parts, moving parts.

Source: common practice, no source.
"""

import re

from benchflow.session.teardown.renewed_parts import head_noun, is_seal, is_used_once

_CLOSING = re.compile(
    r"\b(?:cover|casing|(?:gear|crank|transfer|timing) ?case|case half|housing|head|pan|sump|lid|cap plate|end plate|"
    r"bellhousing|rocker box)\b",
    re.I,
)
_ON_A_COVER = re.compile(r"\b(?:shim|bolt|screw|nut|stud|dowel|plug|magnet|bearing|spring|clip|plate)s?$", re.I)
_MOVING = re.compile(
    r"\b(?:crank(?:shaft)?|cams?|camshafts?|pistons?|valves?|rotor|shafts?|gears?|forks?|selectors?|rails?|chain|belt|"
    r"sprocket|balancer|balance shaft|layshaft|countershaft|rods?|rockers?|synchro\w*|hub|sleeve|clutch|"
    r"flywheel|pushrods?)\b",
    re.I,
)
_KNOWN_TO_TOUCH = tuple(
    (re.compile(rf"\b(?:{one})\b", re.I), re.compile(rf"\b(?:{other})\b", re.I))
    for one, other in (
        ("pistons?|crank(?:shaft)?|rods?", "valves?|cams?|camshafts?"),
        ("valves?", "valves?|cams?|camshafts?|rockers?"),
        ("forks?", "gears?|hubs?|sleeves?"),
        ("rails?", "rails?"),
        ("gears?", "plate|cover|case"),
    )
)
"""Kinds of parts that touch when one of them is in a wrong position. Source: common practice, no source."""
_IN_MESH = re.compile(r"\b(?:gears?|pinions?|idler|layshaft|mainshaft|countershaft|input shaft|output shaft)\b", re.I)
_SLIDES = re.compile(r"\b(?:forks?|hubs?|sleeves?|synchro\w*|rails?|selectors?)\b", re.I)
_LYING_STILL = re.compile(
    r"\b(?:cover|cap|guide|shim|plate|spring|pin|key|nut|bolt|screw|stud|bearing|race|bush|circlip|clip|housing|case|"
    r"switch|sensor|plug|washer|ring|detent|turret|magnet|breather|needles?|spacer)(?:e?s)?\b",
    re.I,
)
_HEAVY = re.compile(
    r"\b(?:crank(?:shaft)?|(?:cylinder )?head|block|gearbox|transmission|flywheel|bell ?housing|engine|axle|case half|"
    r"gear ?case|crank ?case|differential)(?:\s+(?:half|front|rear|upper|lower|left|right|\S*\d\S*))*$",
    re.I,
)
_SMALL = re.compile(r"\b(?:gasket|cover|seal|bolt|bearing|magnet|plug|dowel|cap|shell|sensor|shim)s?\b", re.I)
_SPRING = re.compile(r"\b(?:springs?|valves?|detents?|plungers?)\b", re.I)
_OILED = re.compile(
    r"\b(?:shafts?|layshaft|gears?|bearings?|needles?|forks?|rails?|hubs?|sleeves?|synchro\w*|rings?|pistons?|rods?|"
    r"cams?|camshafts?|crankshaft|rockers?|followers?|lifters?|thrust washers?|bush(?:es)?|balls?|chain|sprockets?|"
    r"plungers?|interlock|idler|differential)\b",
    re.I,
)
_NEVER_OILED = re.compile(
    r"\b(?:clutch|release|flywheel|belts?|brakes?|linings?|friction|switch(?:es)?|sensors?|nuts?|plates?|plugs?|caps?|"
    r"covers?|housings?|cases?|turret|shims?|dowels?|keys?|circlips?|clips?|bolts?|studs?|screws?|magnets?|breather|"
    r"shells?|pulleys?|guides?|retainers?|carrier|bracket|pipes?|hoses?|seals?)\b",
    re.I,
)
_SCREWED_IN = re.compile(
    r"\b(?:plug|nut|bolt|screw|stud|switch|sensor|sender|detent cap|filler cap|breather|union|nozzle|jet|injector|"
    r"relief valve)s?\b",
    re.I,
)
_SHIM = re.compile(r"\b(?:shims?|spacers?|thrust washers?|selective washers?)\b", re.I)
_FITTED_SQUARE = re.compile(r"\b(?:bearings?|races?|bush(?:es)?|seals?)\b", re.I)
_DEBRIS = re.compile(r"\b(?:debris|paste|chips?|swarf|dust|filings|metal|needle rollers?|sludge)\b", re.I)
_HELD = re.compile(r"\b(?:lock(?:ed|s|ing)?|jam(?:s|med)?|held|holds?|holding|block(?:s|ed)|pinned|wedged)\b", re.I)
_PART_IN_WORDS = re.compile(
    r"(?:(\d{1,3})\s*[x×]?\s+)?"
    r"((?:(?:copper|crush|sealing|thrust|lock|tab|spring|flat|plain|roller|needle|ball|roll|split|cotter|woodruff|"
    r"hose|torn|old|small|large|dowel|steel|paper|rubber)\s+)*"
    r"(?:circlips?|snap rings?|washers?|shims?|spacers?|dowels?|pins?|clips?|keys?|gaskets?|o-?rings?|seals?|bearings?|"
    r"balls?|bush(?:es)?|needles?|springs?))"
    r"(?=$|\s+(?:under|behind|below|above|between|on|in|at|with|to|and|front|rear|left|right|inside|outside|torn|worn|"
    r"bent|broken|hard|replaced?|renew(?:ed)?|new|discard(?:ed)?|throw|thrown)\b|\s*\d)",
    re.I,
)
_NEGATED = re.compile(r"\b(?:no|without|missing|not)\b", re.I)
_PARTS_OF_A_GEAR = re.compile(
    r"\b(?:washers|rings|shims|bearings|springs|pins|keys|balls|needles|circlips) (?:of (?:the )?)?"
    r"\d+(?:st|nd|rd|th)\b",
    re.I,
)
"""Several parts, named by where they belong: ``thrust washers 1st gear``."""
_SIDES = frozenset({
    "left", "right", "front", "rear", "upper", "lower", "inner", "outer", "top", "bottom", "together", "inside",
    "outside", "and",
})  # fmt: skip
_OF_THE_PART = frozenset(
    {"they", "it", "all", "both", "these", "this", "is", "are", "was", "were", "and", "which", "one", "part", "parts"}
)
UNTHREADED = frozenset({"circlip", "clip", "clamp", "pin", "rivet", "key", "washer"})
"""Kinds of fasteners that are not tightened."""


def is_plural(text: str) -> bool:
    """True if the name of a part is plural: ``output shaft seals left right``, ``hub and sleeve``."""
    words = [word for word in head_noun(text).lower().split() if re.fullmatch(r"[a-z-]+", word) and word != "mm"]
    named = [word for word in words if word not in _SIDES]
    if _PARTS_OF_A_GEAR.search(text):
        return True
    if "and" in words and named and named[-1] != named[0] and words[-1] not in _SIDES:
        return True
    return bool(named) and named[-1].endswith("s") and not named[-1].endswith(("ss", "us", "is"))


def singular(text: str) -> str:
    """A name without the s of its last word: ``detent caps`` is ``detent cap``."""
    return re.sub(r"(?<=[a-z])(?<![sui])s$", "", text, flags=re.I)


def is_tightened(kind: str, thread: str) -> bool:
    """True for a kind of fastener with a thread. A roll pin, circlip, dowel, key or clip is not tightened."""
    return bool(thread) or (bool(kind) and kind.rpartition(" ")[2] not in UNTHREADED)


def is_lip_seal(what: str) -> bool:
    """True for a lip seal, which is pressed in."""
    return re.search(r"\b(?:lip|shaft|oil|crank(?:shaft)?|front|rear) seals?$", what.strip(), re.I) is not None


def is_gasket(text: str) -> bool:
    """True for a seal that lies between two faces."""
    return re.search(r"\bgaskets?\b", text, re.I) is not None


def is_closing(text: str) -> bool:
    """True for a cover, housing or head: what it closes can no longer be reached."""
    own = head_noun(text)
    return _CLOSING.search(own) is not None and not is_seal(text) and _ON_A_COVER.search(own) is None


def is_moving(text: str) -> bool:
    """True for a part that turns or slides and could touch another one."""
    return (
        _MOVING.search(text) is not None
        and not (is_seal(text) or is_used_once(text))
        and _LYING_STILL.search(head_noun(text)) is None
    )


def may_collide(first: str, second: str) -> bool:
    """True for two kinds of parts that touch in practice when one of them is in a wrong position."""
    return any(
        (one.search(first) and other.search(second)) or (one.search(second) and other.search(first))
        for one, other in _KNOWN_TO_TOUCH
    )


def always_meets(first: str, second: str) -> bool:
    """True for two parts that are in mesh, or on one shaft, whenever both are fitted: it is no collision."""
    return all(_IN_MESH.search(head_noun(each)) and not _SLIDES.search(each) for each in (first, second))


def is_same_rail(first: str, second: str) -> bool:
    """True for two rails. Each of them locks each other one, wherever they are in the order."""
    return all(re.search(r"\brails?\b", each, re.I) for each in (first, second))


def is_plate(text: str) -> bool:
    """True for a part that lies still and that a moving part could touch."""
    return not is_seal(text) and (is_closing(text) or re.search(r"\bplate$", head_noun(text), re.I) is not None)


def is_heavy(text: str) -> bool:
    """True for a part that is heavy enough to crush."""
    own = head_noun(text)
    return _HEAVY.search(own) is not None and _SMALL.search(own) is None


def is_sealed(text: str) -> bool:
    """True for words about a liquid gasket that was found between two faces."""
    return (
        re.search(r"\b(?:sealed|sealant|silicone|rtv|liquid gasket|sealing compound|sealer)\b", text, re.I) is not None
        and re.search(r"\b(?:no|without|not) (?:sealed|sealant|sealer|silicone)\b", text, re.I) is None
    )


def is_thread_locked(text: str) -> bool:
    """True for words about a thread locker that was found on a thread."""
    return (
        re.search(
            r"\b(?:(?:thread|screw|stud)[ -]?lock(?:er|ing|ed)?|lock(?:ing)? (?:compound|fluid|liquid))\b", text, re.I
        )
        is not None
        and re.search(r"\b(?:no|without|not) ", text, re.I) is None
    )


def has_no_gasket(text: str) -> bool:
    """True for words that say that no gasket was found."""
    return re.search(r"\b(?:no|without(?: a)?) gasket\b", text, re.I) is not None


def has_spring(text: str) -> bool:
    """True for a part that can fly off. A detent cap lies on its spring."""
    if re.search(r"\bdetents?\b", text, re.I):
        return True
    return _SPRING.search(text) is not None and not re.search(r"\b(?:cover|gasket|cap|seal)s?\b", text, re.I)


def is_oiled(text: str) -> bool:
    """True for a part that slides or turns in oil."""
    own = head_noun(text)
    return _OILED.search(own) is not None and _NEVER_OILED.search(own) is None and not is_seal(text)


def is_shell(text: str) -> bool:
    """True for bearing shells, whose backs stay dry."""
    return re.search(r"\bshells?\b", text, re.I) is not None


def is_screwed_in(text: str) -> bool:
    """True for a part that has a thread of its own: a plug, a nut, a switch."""
    return _SCREWED_IN.search(head_noun(text)) is not None


def is_fastener(text: str) -> bool:
    """True for a part that is a fastener itself: bolts, a nut, studs."""
    return re.search(r"\b(?:plug|nut|bolt|screw|stud)s?$", head_noun(text), re.I) is not None


def is_shim(text: str) -> bool:
    """True for a part whose thickness is chosen by a measured float or preload."""
    return _SHIM.search(head_noun(text)) is not None


def is_chosen_size(text: str) -> bool:
    """True for the name of a dimension that is chosen by a measured float: it has no limit of its own."""
    return re.search(r"\b(?:shim|spacer|washer)s?\b", text, re.I) is not None


def is_assembled_measure(text: str) -> bool:
    """True for the name of something that can be measured only on a fitted part, such as an end float."""
    return re.search(r"\b(?:float|lash|backlash|play|preload|drag|turning torque)\b", text, re.I) is not None


def is_fitted_measure(name: str, what: str) -> bool:
    """True for a value of the part ``what`` that is measured once it is fitted: a float, or the clearance of a rotor.

    The clearance of pistons, rings and shells is measured before, on their bores and journals.
    """
    if is_assembled_measure(name):
        return True
    if re.search(r"\bclearance\b", name, re.I):
        return re.search(r"\b(?:pistons?|rings?|shells?|pins?)\b", what, re.I) is None
    return re.search(r"\bgap\b", name, re.I) is not None and re.search(r"\bsensors?\b", what, re.I) is not None


def is_single_dimension(text: str) -> bool:
    """True for the name of a dimension that each of several parts has: a length, a width, a wear gap."""
    words = r"(?:free )?length|width|thickness|height|(?:inner |outer )?diameter|bore|(?:\w+ )?gap|pad|groove|wear"
    return re.fullmatch(words, text.strip(), re.I) is not None


def is_breakaway(text: str) -> bool:
    """True for the torque at which a fastener let go, which is for comparison only."""
    return re.search(r"\bbreak ?away\b", text, re.I) is not None


def is_written_torque(text: str) -> bool:
    """True for the torque of a fastener that somebody wrote down at the teardown: it is not measured on the part."""
    return re.fullmatch(r"(?:tightening )?torque", text.strip(), re.I) is not None


def is_set_square(text: str) -> bool:
    """True for a part that is pushed or pressed into a bore, or onto a shaft, until it is square and home."""
    own = head_noun(text)
    return (
        _FITTED_SQUARE.search(own) is not None
        and not is_gasket(text)
        and re.search(r"\b(?:needle|circlip|snap ring|plate|cap|shell)s?\b", own, re.I) is None
    )


def is_debris(text: str) -> bool:
    """True for words about wear debris."""
    return _DEBRIS.search(text) is not None


def is_held(text: str) -> bool:
    """True for a state in which something is locked or held, such as shafts for a nut."""
    return _HELD.search(text) is not None and re.search(r"\b(?:unlock|not |no |free)", text, re.I) is None


def is_condition(text: str) -> bool:
    """True for words about how a part inside of another one was: ``rough bearing``."""
    return re.search(r"\b(?:rough|noisy|stiff|loose|dry|grinds|rattles)\b", text, re.I) is not None


def stays_in(text: str, what: str = "") -> bool:
    """True for words that say that the part ``what`` was not taken off: ``stay in the block``.

    ``2 dowels stay in the case`` says it of the dowels, and not of the housing that came off.
    """
    found = re.search(r"\b(?:(?:stays?|left|still|remains?) (?:in|on)|not (?:removed|taken off))\b", text, re.I)
    if found is None:
        return False
    subject = re.findall(r"[a-z]+", text[: found.start()].lower())
    own = {singular(word) for word in re.findall(r"[a-z]+", what.lower())}
    return all(singular(word) in own or word in _OF_THE_PART for word in subject)


def is_left_hand(text: str) -> bool:
    """True for words about a left-hand thread."""
    return re.search(r"\bleft[- ]?hand(?:ed)?\b|\bL\.?H\.? thread\b", text, re.I) is not None


def is_pinned(text: str) -> bool:
    """True for words that say that a spring is held back by a pin: ``pinned before it came off``."""
    return re.search(r"\bpinned\b|\b(?:held|locked|compressed)\b.*\b(?:pin|clip|wire|nail)\b", text, re.I) is not None


def part_in_words(text: str) -> tuple[int, str] | None:
    """The part that words name, with its count: ``copper washer``; ``None`` if they name none."""
    plain = text.strip()
    if _NEGATED.search(plain) or len(plain.split()) > 6:
        return None
    found = _PART_IN_WORDS.search(plain)
    if found is None or re.search(r"\d\s*mm\s*$", plain[: found.start(2)]):
        return None
    both = 2 if re.search(r"\bboth\b", plain, re.I) else 1
    return int(found[1] or both), " ".join(word for word in found[2].split() if word.lower() not in ("torn", "old"))


def parts_with(text: str) -> list[tuple[int, str]]:
    """The parts that come with another one, with their counts: ``with spring and ball`` names two; else none."""
    found = re.match(r"(?:comes |came )?with (?:its |the )?(.+)", text.strip(), re.I)
    named = [] if found is None else [part_in_words(each) for each in re.split(r"\s*(?:\band\b|[+&,])\s*", found[1])]
    return [each for each in named if each is not None] if None not in named else []


def moving_words(text: str) -> list[str]:
    """The words of a text that name something that turns or slides, each once: ``gear``, ``belt``."""
    return list(dict.fromkeys(re.sub(r"(?<!s)s$", "", found.lower()) for found in _MOVING.findall(text)))
