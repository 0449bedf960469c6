"""Two ways of entering the same readings never give two verdicts: units, order, resuming, formulas in steps.

Each random case is played several times by the commands of the bench. The expected verdicts are also computed apart,
with fractions, by the rules of the format guide. All numbers are invented.
"""

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from statistics import NormalDist
from tempfile import TemporaryDirectory
from typing import NamedTuple

from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.driving.script import Json, Script, intent, open_intent, procedure_with

STEPS = {"mm": Fraction("0.000254"), "in": Fraction("0.00001"), "thou": Fraction("0.01"), "µm": Fraction("0.254"),
         "cm": Fraction("0.0000254")}  # fmt: skip
"""One step of a number in each unit: 0.254 µm, which is a finite decimal in all of them."""

FORMULAS = {
    "mean": ("mean(x[*])", "mean(x[*])"),
    "spread": ("spread(x[*])", "max(x[*]) - min(x[*])"),
    "largest": ("max(x[*])", "max(x[*])"),
    "smallest": ("min(x[*])", "min(x[*])"),
}
"""For each figure that can be judged: its formula, and the same in other words."""


class Case(NamedTuple):
    """Readings and limit ends in steps of 0.254 µm. ``low`` or ``high`` is ``None`` for an open end."""

    readings: tuple[int, ...]
    base: int
    low: int | None
    high: int | None
    judge: str
    guarded: bool
    u: int  # expanded uncertainty of the instrument


class Entry(NamedTuple):
    """One way to enter a case."""

    typed: str
    field: str
    limit: str
    formula_in_steps: bool
    backwards: bool
    resumed: bool


def text(steps: int, unit: str) -> str:
    number = steps * STEPS[unit]
    digits = f"{number.numerator * 10**7 // number.denominator:d}"
    sign, digits = ("-", digits[1:]) if digits.startswith("-") else ("", digits)
    digits = digits.rjust(8, "0")
    return f"{sign}{digits[:-7]}.{digits[-7:]} {unit}"


def limit_text(case: Case, unit: str) -> str:
    if case.low is None:
        return f"at most {text(case.high or 0, unit)}"
    if case.high is None:
        return f"at least {text(case.low, unit)}"
    return f"{text(case.low, unit)} .. {text(case.high, unit)}"


def procedure(case: Case, way: Entry) -> str:
    count, limit = len(case.readings), limit_text(case, way.limit)
    decision = f"decision: {'guarded' if case.guarded else 'simple'}"
    slots = f", readings: {count}" if count > 1 else ""
    recorded = f"{{ask: X, unit: {way.field}, with: gauge, {decision}{slots}"
    by_limit = f"x: {recorded}, judge: {case.judge}, limit: {limit}}}"
    relative = f"y: {recorded}, judge: {case.judge}, limit: above b by {limit}}}"
    b = f"b: {{ask: B, unit: {way.field}, with: gauge}}"
    one, other = FORMULAS[case.judge] if count > 1 and case.judge != "all" else ("x", "x")
    keys = f"unit: {way.field}, {decision}, limit: {limit}"
    if way.formula_in_steps:
        calculated = f"part: {{is: '{other}', unit: {way.field}}}, f: {{is: part - b, {keys}}}"
    else:
        calculated = f"f: {{is: '{one} - b', {keys}}}"
    head = f"instruments: {{gauge: {{kind: length, uncertainty: 'at most {text(case.u, way.limit)}'}}}}\n"
    values = f"record: {{{by_limit}, {relative}}}, work-out: {{{calculated}}}"
    first = f"{{id: first, title: First, record: {{{b}}}}}"
    return procedure_with(first, f"{{id: measure, title: Measure, after: [first], {values}}}", head=head)


def verdicts(case: Case, way: Entry) -> dict[str, list[str]]:
    """The verdicts by name of the value, and the codes of `finish`."""
    intents: list[Json] = [open_intent(), intent("start", operation="first")]
    intents += [intent("record", name="b", value=text(case.base, way.typed)), intent("finish")]
    intents.append(intent("start", operation="measure"))
    numbered = list(enumerate(case.readings, 1))
    for number, reading in reversed(numbered) if way.backwards else numbered:
        for name in ("x", "y"):
            intents.append(intent("record", name=name, reading=number, value=text(reading, way.typed)))
    with TemporaryDirectory() as folder:
        script = Script(Path(folder), procedure(case, way))
        half = len(intents) // 2 if way.resumed else 0
        for part in (intents[:half], intents[half:]):
            if part:
                script.do_all(*part)
        (reply,) = script.send(intent("finish"))
        log = script.log()
    found: dict[str, list[str]] = {"finish": sorted({f"{r['code']} {r['name']}" for r in reply.get("refused", [])})}
    last: dict[tuple[str, str], str] = {}
    for line in log:
        data = line["data"]
        if line["kind"] in ("recorded", "calculated") and data["name"] in ("x", "y", "f"):
            last[data["name"], data.get("reading", "")] = data["verdict"]
    for (name, _), verdict in sorted(last.items()):
        found.setdefault(name, []).append(verdict)
    return found


def expected(case: Case) -> dict[str, list[str]]:
    """The verdicts by the rules of the guide, computed apart."""
    numbers = [Fraction(reading) for reading in case.readings]
    figures: Sequence[Fraction]
    match case.judge:
        case "mean":
            figures = [sum(numbers, Fraction(0)) / len(numbers)]
        case "spread":
            figures = [max(numbers) - min(numbers)]
        case "largest":
            figures = [max(numbers)]
        case "smallest":
            figures = [min(numbers)]
        case _:
            figures = numbers
    # Standard uncertainties, over u of the gauge. Its error is the same in all readings, and is not taken to
    # cancel: a + b has 2 u, a - b has √2 u, a - b - c has √(1 + 4) u. A spread is a difference, also of equal readings.
    of_x, of_difference = (2**0.5, 5**0.5) if case.judge == "spread" else (1.0, 2**0.5)
    single = case.judge != "all" and len(numbers) > 1
    by_name = {
        "x": (figures, of_x, True),
        "y": ([figure - case.base for figure in figures], of_difference, True),
        "f": ([figure - case.base for figure in figures], of_difference, False),
    }
    found = {}
    for name, (values, factor, recorded) in by_name.items():
        u = factor * case.u / 2
        judged = [judge(case, value, u) for value in values]
        if recorded and single:
            judged = ["none"] * len(numbers)  # each reading is logged without a verdict
        found[name] = judged
    return found


def judge(case: Case, value: Fraction, u: float) -> str:
    low, high = case.low, case.high
    if not case.guarded or u == 0:
        return "low" if low is not None and value < low else "high" if high is not None and value > high else "ok"
    normal = NormalDist(float(value), u)
    below = 0.0 if low is None else normal.cdf(low)
    above = 0.0 if high is None else 1 - normal.cdf(high)
    if below >= NormalDist().cdf(1.65) and (low is None or value < low - 1.65 * u):
        return "low"
    if above >= NormalDist().cdf(1.65) and (high is None or value > high + 1.65 * u):
        return "high"
    near = (low is not None and value < low + 1.65 * u) or (high is not None and value > high - 1.65 * u)
    return "not-proven" if near or 1 - below - above < 0.95 else "ok"


@st.composite
def cases(draw: st.DrawFn) -> Case:
    steps = st.integers(-60, 60)
    readings = tuple(draw(st.lists(steps, min_size=1, max_size=3)))
    ends = sorted((draw(steps), draw(steps)))
    kind = draw(st.sampled_from(["both", "low", "high"]))
    low, high = (ends[0] if kind != "high" else None), (ends[1] if kind != "low" else None)
    judge_by = draw(st.sampled_from(["all", *FORMULAS])) if len(readings) > 1 else "all"
    # An odd uncertainty keeps every value off the edge of its guard band, where a rounded reference could differ.
    return Case(readings, draw(steps), low, high, judge_by, draw(st.booleans()), draw(st.sampled_from([0, 7, 31])))


ways = st.builds(
    Entry, st.sampled_from(list(STEPS)), st.sampled_from(list(STEPS)), st.sampled_from(list(STEPS)), st.booleans(),
    st.booleans(), st.booleans(),
)  # fmt: skip


@given(cases(), ways, ways)
@example(
    Case((10, 11, 9), 0, None, 10, "mean", False, 0),
    Entry("mm", "mm", "mm", False, False, False),
    Entry("mm", "in", "µm", True, True, True),
)
@example(
    Case((0, 0), 26, 0, 0, "spread", True, 31),
    Entry("mm", "mm", "mm", False, False, False),
    Entry("mm", "in", "µm", True, True, True),
)
@settings(max_examples=60, deadline=None)
def test_each_way_of_entering_readings_gives_the_same_verdicts(case: Case, one: Entry, other: Entry) -> None:
    first, second = verdicts(case, one), verdicts(case, other)
    assert first == second
    for name, wanted in expected(case).items():
        assert first[name] == wanted, name
