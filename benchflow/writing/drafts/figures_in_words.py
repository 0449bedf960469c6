"""Finds the figures in a step that is written in words. A figure with only one meaning is taken; the others are named.

A torque is a stage only where the words say that something is tightened to it. A turning, breakaway or drag torque, and
a torque with `at most` or `at least`, is a value to record.
"""

import re

from msgspec import Struct
from msgspec.structs import replace

from benchflow.writing.drafts.cell_figures import Refused, limit_in, stages_in
from benchflow.writing.drafts.step_sentences import readings_named

_N = r"\d*\.?\d+"
_TORQUE_UNIT = r"(?:N·m|N\.m|N m|Nm|ft[-·. ]?lbf?s?|lbf?[-·. ]?ft|in[-·. ]?lbf?s?|lbf?[-·. ]?in|kgf?[·-]?m)"
_TORQUE = (
    rf"(?<![\w.,×±])(?<!/- )(?<!/-)(?<!± )\d[\d.,]*(?:\s*(?:-|–|\.\.|to|±|\+/-|\+-)\s*\d[\d.,]*)?\s*{_TORQUE_UNIT}\b"
    rf"(?:\s*(?:±|\+/-)\s*\d+(?:[.,]\d+)?(?:\s*{_TORQUE_UNIT}\b)?)?(?:\s*\([^()]*\d[^()]*\))?"
)
_ANGLE = r"\d[\d.,]*\s*(?:°(?!\s*[CF])|deg(?:rees)?\b)"
_STAGES = re.compile(
    rf"{_TORQUE}(?:\s*(?:\+|,?\s*(?:and\s+)?then|,|and|plus)\s*(?:again\s+|by\s+|to\s+|a further\s+|\+)*"
    rf"(?:{_TORQUE}|{_ANGLE}))*",
    re.IGNORECASE,
)
_TIGHTENS = re.compile(r"\s*(?:re-?)?(?:tighten|torque|nip|screw|bolt|fit|install|refit|secure)\b", re.IGNORECASE)
_SURELY_TIGHTENS = re.compile(r"\s*(?:re-?)?(?:tighten|torque)\b", re.IGNORECASE)
_RESISTANCE = re.compile(r"\b(?:turning|rotating|rotational|breakaway|drag|starting|running|preload|friction)\b", re.I)
_ENDS = re.compile(
    r"(?:at most|at least|max\.?|maximum|min\.?|minimum|not more than|not less than|no more than|up to|below|above|"
    r"under|over|less than|more than|from|[<>≤≥])\s*:?\s*$",
    re.IGNORECASE,
)
_OTHER_NUMBER = re.compile(
    r"(?<![\w.])\d[\d.,]*\s*(?:(?:to|-|–|,|/|and|or|\+)\s*)?$|\bto\s+\d[\d.,]*\s+(?:and|or|then|,)|"
    r"(?:\babout|\bapprox\w*\.?|\bca\.?|\bcirca|~|≈)\s*$",
    re.IGNORECASE,
)
"""Words before a torque with which it is not the whole torque: ``bolts 1 to 8 to 25``, ``20/40/60``, ``about 25``."""
_UNIT = (
    rf"(?:{_TORQUE_UNIT}|mm²/s|mm|µm|thou|inch(?:es)?|in|bar|kPa|psi|°C|°F|°|deg|µin|cm|minutes?|min|hours?|h|seconds?|s|"
    r"days?|ml|l|kg|g|%|V|A|km|miles|rpm|turns?)"
)
_NOT_ABOVE = r"(?:(?:must|may|shall|should) not (?:be (?:more|greater) than|exceed)|not exceed(?:ing)?)"
_SIDES = (
    rf"(?:{_NOT_ABOVE}|at most|at least|max\.?|min\.?|not more than|not less than|no more than|below|above|≤|≥|<|>)"
)
_QUANTITY = re.compile(
    rf"(?:{_SIDES}\s*)?(?<![\w.,/])(?:\d[\d.]*/){{0,4}}(?:\d|\.\d)[\d.,]*"
    rf"(?:\s*(?:to|-|–|±|\.\.\.?)\s*[\d.][\d.,]*)?\s*{_UNIT}(?![\w/])"
    r"(?:\s*\([^()]*\d[^()]*\))?",
    re.IGNORECASE,
)
_MEASURED = re.compile(
    r"\b(?:clearance|depth|width|gap|play|float|length|diameter|height|flatness|run-?out|lash|backlash|thickness|"
    r"protrusion|step|torque|temperature|pressure|stretch|preload|drop|level|deflection|distance|crown|taper)\b",
    re.IGNORECASE,
)
_PLACE_BEHIND = re.compile(
    r"\s*(?:below|above|from|under|inside|outside|behind|beyond|away|deep|off|of the (?:top|edge|end))\b",
    re.IGNORECASE,
)
"""Words behind a figure that is a place, not a limit: ``10 mm below the deck``."""
_MEASURES = re.compile(r"(?:^|,\s*|\band\s+|\bthen\s+)(?:measure|check|read|record)\s+(?:the\s+)?", re.IGNORECASE)
_ONLY_LIMIT = re.compile(r"\s*(?:the |its |service )*limits?\b\s*(?:is|are|of|:|=)*\s*", re.IGNORECASE)
_NOT_LESS = re.compile(
    r"\b(?:flatness|run-?out|taper|ovality|out[- ]of[- ]round\w*|distortion|warp\w*|bow|bend|deflection|drop)\b", re.I
)
"""What is good when it is small, so that a single figure is the largest one. Source: common practice, no source."""
_NEXT_STAGE = re.compile(
    r"\s*(?:(?:stage|pass)\s*\d|\d(?:st|nd|rd|th)\s+(?:stage|pass)|(?:final|last)\s+(?:stage|pass))\s*[:,.–-]?\s*"
    r"(?:tighten\s+|torque\s+|turn\s+)?(?:to\s+|by\s+)?",
    re.IGNORECASE,
)
_TIMES = re.compile(r"(?:minutes?|min|hours?|h|seconds?|s|days?)\s*$", re.IGNORECASE)
_COUNT = re.compile(
    r"(?<![\w.,-])(\d{1,3}|two|three|four|five|six|eight|ten|twelve)\s+(?:[a-z-]+\s+)?(?:screws|bolts|nuts|studs|capscrews)\b",
    re.I,
)
_COUNT_OF_THREAD = re.compile(r"(?<![\w.])(\d{1,3})\s*[x×]\s*(?=M\d{1,2}\b)")
_COUNT_WORDS = {"two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "eight": 8, "ten": 10, "twelve": 12}
_THREAD = re.compile(r"(?<!\w)M\d{1,2}(?:\.\d)?\s?[x×]\s?\d(?:\.\d+)?(?![\w.])")


_SENTENCE_END = re.compile(
    r"[.;!?](?=\s)|\n|(?:,\s+(?:then\s+|and\s+)?|\s(?:and|then)\s+)(?=(?:tighten|torque)\s)", re.IGNORECASE
)
_FIGURE_AT_END = re.compile(
    rf"\s*(?:\b(?:to|at|is|within|of)\b|[:(,=])?\s*(?:{_QUANTITY.pattern}).*$", re.IGNORECASE | re.DOTALL
)


def without_figures(title: str) -> str:
    """A title without the figures at its end: ``Tighten the 8 screws: 12 N·m`` is ``Tighten the 8 screws``."""
    plain = _FIGURE_AT_END.sub("", title).strip(" :,(.")
    return plain if len(plain) > 3 else title.strip(" .")


def step_name(title: str) -> str:
    """The words of a title for a name: its first sentence without figures."""
    first = re.split(r"[.;](?=\s)", title)[0]
    plain = re.sub(r"\s+(?:a|an|the)$", "", without_figures(first), flags=re.IGNORECASE)
    return plain if len(plain.split()) > 1 else " ".join(_QUANTITY.sub("", first).split()) or title


def fastened_words(title: str) -> str:
    """What a title says to tighten, without its verb, number and order; "" if it names nothing."""
    plain = re.sub(r"^\s*(?:and\s+|then\s+)?(?:re-?)?(?:tighten|torque|nip|screw|bolt|fit|install|refit|secure)\b"
                   r"(?:\s+(?:up|down|in)\b)?", "", title, flags=re.IGNORECASE)  # fmt: skip
    plain = re.split(r",|:|\(|\s(?:in|to|with|using|by|crosswise|stage|and|evenly|again)\b", plain)[0]
    return re.sub(r"^\s*(?:the|all|its|a|an)?\s*(?:\d+\s*[x×]?\s+)?", "", plain, flags=re.IGNORECASE).strip()


class MeasuredFigure(Struct, frozen=True):
    """A limit in the words of a step: what is measured, the limit, its unit.

    ``formula`` has the words of a formula, if the value is calculated from others. ``text`` is the sentence.
    """

    name: str
    limit: str
    unit: str
    readings: int = 0  # 0 for one
    formula: str = ""
    mean: bool = False  # the limit is for the mean of the readings
    place: int = 0  # index in the text of the step
    text: str = ""


class StepFigures(Struct, frozen=True):
    """The figures in the words of a step. ``left`` were not taken. ``refused`` says why a torque was not read."""

    stages: tuple[str, ...] = ()
    count: int = 0
    thread: str = ""
    limits: tuple[MeasuredFigure, ...] = ()
    left: tuple[str, ...] = ()
    refused: str = ""
    tightened_at: int = 0  # index of the torque in the text
    tightens: str = ""  # the sentence with the torque


def figures_in_step(text: str) -> StepFigures:
    """The figures in the words of one step."""
    taken: list[tuple[int, int]] = []
    stages: tuple[str, ...] = ()
    count, thread, refused, tightened_at, tightens = 0, "", "", 0, ""
    limits: list[MeasuredFigure] = []
    before = ""
    for start, end in _sentences(text):
        sentence = text[start:end]
        alone, before = _limit_alone(sentence, before), sentence
        if alone is not None:
            limits.append(replace(alone[0], place=start + alone[1], text=sentence.strip()))
            taken.append((start + alone[1], start + alone[2]))
            continue
        found = None if stages else _stages_of(sentence)
        if found is not None:
            read = stages_in(re.sub(r"\band\b", "+", re.sub(r"\bthen\b", "+", found[0])), "")
            tightened_at, tightens = start + found[1], sentence.strip()
            if isinstance(read, Refused):
                refused = read.why
            else:
                stages = tuple(read)
                taken.append((start + found[1], start + found[1] + len(found[0])))
                count, thread = _fasteners(sentence)
            continue
        for measured, begins, ends in _limits_of(sentence):
            limits.append(replace(measured, place=start + begins, text=sentence.strip()))
            taken.append((start + begins, start + ends))
    left = [
        found[0].strip()
        for found in _QUANTITY.finditer(text)
        if not any(begins < found.end() and found.start() < ends for begins, ends in taken)
    ]
    return StepFigures(
        stages, count, thread, tuple(limits), tuple(dict.fromkeys(left)), refused, tightened_at, tightens
    )


def _sentences(text: str) -> list[tuple[int, int]]:
    """The start and end of each sentence of a text. A full stop within a figure does not end a sentence."""
    cuts = [found.end() for found in _SENTENCE_END.finditer(text)]
    starts = [0, *cuts]
    return [(begin, end) for begin, end in zip(starts, [*cuts, len(text)], strict=True) if text[begin:end].strip()]


def _stages_of(sentence: str) -> tuple[str, int] | None:
    """The stages in a sentence, and their place; ``None`` unless it says that something is tightened to them."""
    if not _TIGHTENS.match(sentence) or _RESISTANCE.search(sentence):
        return None
    found = list(_STAGES.finditer(sentence))
    if len(found) != 1 or _ENDS.search(sentence[: found[0].start()]):
        return None
    before = sentence[: found[0].start()].rstrip()
    if _OTHER_NUMBER.search(before):
        return None
    if not _SURELY_TIGHTENS.match(sentence) and not before.endswith((":", " to", "(", ",")):
        return None
    return found[0][0], found[0].start()


def is_resistance(words: str) -> bool:
    """True if words name a torque that is measured, not one to tighten to: a turning torque, a preload."""
    return (
        _RESISTANCE.search(words) is not None
        or re.match(r"\s*(?:measure|check|record|verify|read)\b", words, re.I) is not None
    )


def _limits_of(sentence: str) -> list[tuple[MeasuredFigure, int, int]]:
    """The limits in a sentence that names what is measured. A time is not a limit."""
    found = []
    begin = 0
    for each in _QUANTITY.finditer(sentence):
        before = sentence[begin : each.start()]
        begin = each.end()
        if _TIMES.search(each[0]) or not _MEASURED.search(before) or _PLACE_BEHIND.match(sentence, each.end()):
            continue
        has_ends = re.match(rf"\s*{_SIDES}", each[0], re.I) or re.search(r"\d\s*(?:to|-|–|±|\.\.)\s*\d", each[0])
        limit = limit_in(_as_limit(each[0]), "") if has_ends else None
        if limit is None or isinstance(limit, Refused):
            continue
        before, formula = formula_in(before)
        name = _measured_name(before)
        if name:
            measured = MeasuredFigure(
                name[:80], *limit, readings=readings_named(before), formula=formula,
                mean=re.search(r"\b(?:average|mean)\b", before, re.I) is not None,
            )  # fmt: skip
            found.append((measured, each.start(), each.end()))
    return found


def _as_limit(text: str) -> str:
    """The words of a limit as a procedure writes it: ``must not exceed 0.1 bar`` is ``at most 0.1 bar``."""
    return re.sub(rf"^\s*{_NOT_ABOVE}", "at most", text, flags=re.IGNORECASE).strip()


def _measured_name(before: str) -> str:
    """The name of what is measured, in the words before its limit."""
    name = _MEASURES.split(before.strip())[-1]
    name = re.sub(r"^\W*(?:then|and|the)\b\s*(?:the\s+)?", "", name, flags=re.I)
    name = re.split(r",", name)[0].strip(" :,(.")
    return re.sub(r"\s+(?:is|are|of|at|to be|(?:must|should|shall|has to|have to) be)$", "", name, flags=re.I)


def _limit_alone(sentence: str, before: str) -> tuple[MeasuredFigure, int, int] | None:
    """The limit in a sentence that has only it: ``Measure the end float. Limit 0.10 to 0.25 mm.``"""
    begins = _ONLY_LIMIT.match(sentence)
    figure = _QUANTITY.match(sentence, begins.end()) if begins is not None else None
    if figure is None or not _MEASURES.search(before) or _QUANTITY.search(before):
        return None
    name = _measured_name(before.strip().rstrip(".;"))
    text = _as_limit(figure[0])
    if _NOT_LESS.search(name) and re.match(r"[\d.]", text) and not re.search(r"\d\s*(?:to|-|–|±|\.\.)\s*\d", text):
        text = f"at most {text}"
    limit = limit_in(text, "")
    if not name or isinstance(limit, Refused):
        return None
    return MeasuredFigure(name[:80], *limit, readings=readings_named(before)), figure.start(), figure.end()


def next_stage_in(text: str) -> str:
    """The torque or angle of a step that is only the next stage of the step before: ``Stage 2: 22 N·m``; else ""."""
    found = _NEXT_STAGE.match(text)
    rest = text[found.end() :].strip().rstrip(".") if found is not None else ""
    return rest if rest and re.fullmatch(rf"(?:{_STAGES.pattern}|\+?\s*{_ANGLE})", rest, re.IGNORECASE) else ""


def formula_in(words: str) -> tuple[str, str]:
    """The words without the formula in them, and the formula: ``clearance = depth - width, `` has one."""
    found = re.search(
        r"\s*(?:=|\b(?:is|equals)\b(?=[^,:]*(?:\bminus\b|\bplus\b|\bdifference\b|\bsum\b)))\s*", words, re.I
    )
    if found is None:
        return words, ""
    return words[: found.start()], re.split(r"[,:]", words[found.end() :])[0].strip()


def fasteners_in_words(text: str) -> tuple[int, str]:
    """The number of fasteners that words name, 0 if they do not, and their thread or ""."""
    number, thread = _fasteners(text)
    if not number and _ONE.search(text) and not _MANY.search(text):
        number = 1
    return number, thread


_ONE = re.compile(
    r"\b(?:the|a|an|its|new)\s+(?:[\w-]+\s+){0,3}(?:bolt|nut|plug|screw|stud|union|banjo)\b(?!\s+(?:holes?|threads?)\b)",
    re.IGNORECASE,
)
"""One fastener, by an article: `Bolt the caps` and `wheel bolt torque` name none."""
_MANY = re.compile(
    r"\b(?:bolts|nuts|plugs|screws|studs|unions|banjos|each|every|all|both|either|pairs?|left and right|\d+)\b", re.I
)


def _fasteners(sentence: str) -> tuple[int, str]:
    """The number of fasteners and their thread, as far as the words say them."""
    count, thread = _COUNT.search(sentence) or _COUNT_OF_THREAD.search(sentence), _THREAD.search(sentence)
    number = 0 if count is None else _COUNT_WORDS.get(count[1].lower()) or int(count[1])
    return number, "" if thread is None else thread[0].replace(" ", "").replace("×", "x")
