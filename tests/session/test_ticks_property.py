"""Random stages and ticks: the verdicts and the progress equal a small model that is written apart from the program.

The model knows units as factors, and stages as two fractions. All data is invented.
"""

from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal, NamedTuple

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.driving.script import Json, Script, intent, open_intent, procedure_with

FACTORS = {
    "N·m": Fraction(1),
    "kgf·m": Fraction(980665, 100000),
    "ft-lb": Fraction(45359237, 100000000) * Fraction(980665, 100000) * Fraction(3048, 10000),
    "in-lb": Fraction(45359237, 100000000) * Fraction(980665, 100000) * Fraction(254, 10000),
    "°": Fraction(1),
    "turn": Fraction(360),
}
TORQUES, ANGLES = ("N·m", "kgf·m", "ft-lb", "in-lb"), ("°", "turn")
FASTENERS = 2


class ModelStage(NamedTuple):
    text: str
    low: Fraction
    high: Fraction
    units: tuple[str, ...]
    check: bool = False


def _number(steps: int) -> tuple[str, Fraction]:
    text = f"{steps // 10}.{steps % 10}"
    return text, Fraction(text)


@st.composite
def stages(draw: st.DrawFn, percent: int | None, degrees: int | None) -> ModelStage:
    kind = draw(st.sampled_from(["torque", "band", "plus-minus", "angle", "check", "check-band"]))
    angle = kind == "angle"
    unit = draw(st.sampled_from(ANGLES if angle else TORQUES))
    text, value = _number(draw(st.integers(100, 999)))
    factor = FACTORS[unit]
    if kind in ("band", "check-band"):
        other, high = _number(draw(st.integers(1000, 1500)))
        low, high, written = value, high, f"{text} .. {other} {unit}"
    elif kind == "plus-minus":
        by, tolerance = _number(draw(st.integers(1, 90)))
        low, high, written = value - tolerance, value + tolerance, f"{text} ± {by} {unit}"
    elif angle:
        tolerance = Fraction(5 if degrees is None else degrees) / factor
        assume(tolerance < value)  # a tolerance that accepts every low reading is an error of the file
        low, high, written = value - tolerance, value + tolerance, f"+{text} {unit}"
    else:
        tolerance = value * Fraction(6 if percent is None else percent, 100)
        low, high, written = value - tolerance, value + tolerance, f"{text} {unit}"
    check = kind.startswith("check")
    written = f"{{check: {written}}}" if check else written
    return ModelStage(written, low * factor, high * factor, ANGLES if angle else TORQUES, check)


WholeStage = Literal["tick-rest", "stage-again"]


class Case(NamedTuple):
    stages: list[ModelStage]
    tolerance: str
    actions: list[tuple[int, int, str, int, bool] | WholeStage]


@st.composite
def cases(draw: st.DrawFn) -> Case:
    percent = draw(st.one_of(st.none(), st.integers(1, 20)))
    degrees = draw(st.one_of(st.none(), st.integers(1, 20)))
    parts = [f"torque: {percent} %"] if percent else []
    drawn = draw(st.lists(stages(percent, degrees), min_size=1, max_size=3))
    parts += [f"angle: {degrees}°"] if degrees and any(stage.units == ANGLES for stage in drawn) else []
    seated = ModelStage("10 N·m", Fraction(94, 10), Fraction(106, 10), TORQUES)
    if percent:
        half = Fraction(percent, 10)
        seated = ModelStage("10 N·m", 10 - half, 10 + half, TORQUES)
    # (fastener, end: -1 below, 0 inside, 1 above, ..., unit, nudge, loosened)
    action = st.tuples(
        st.integers(1, FASTENERS),
        st.integers(-1, 2),
        st.sampled_from(["first", "second"]),
        st.integers(0, 3),
        st.booleans(),
    )
    whole: st.SearchStrategy[WholeStage] = st.sampled_from(["tick-rest", "stage-again"])
    actions = draw(st.lists(st.one_of(action, action, action, whole), max_size=25))
    return Case([seated, *drawn], f"{{{', '.join(parts)}}}" if parts else "", actions)


class Model:
    """The rules of ticks: what counts, what is next, what is refused."""

    def __init__(self, stages: list[ModelStage]) -> None:
        self.stages = stages
        self.last: dict[tuple[int, int], str] = {}
        self.tight: set[tuple[int, int]] = set()  # above the band, and not loosened since

    @property
    def stage(self) -> int:
        return next(
            (n for n in range(len(self.stages)) if any(self.last.get((n, f)) != "ok" for f in (1, 2))), len(self.stages)
        )

    def done(self) -> int:
        return sum(self.last.get((self.stage, f)) == "ok" for f in (1, 2))

    def refusal(self, fastener: int, loosened: bool) -> bool:
        stage = self.stage
        if stage == len(self.stages):
            return True
        here = {f: self.last.get((stage, f)) for f in (1, 2)}
        if self.stages[stage].check:
            unread = [f for f in here if here[f] is None]
            if here[fastener] == "ok" and "low" not in here.values() and "high" not in here.values():
                return False  # a reading within the limit is repeated
            return not (here[fastener] in ("low", "high") or fastener in unread[:1])
        open_ones = [f for f in here if here[f] != "ok"]
        return fastener != open_ones[0] or ((self.stage, fastener) in self.tight and not loosened)

    def tick(self, fastener: int, verdict: str, loosened: bool) -> None:
        key = (self.stage, fastener)
        if loosened:
            self.tight.discard(key)
        if verdict == "high" and not self.stages[self.stage].check:
            self.tight.add(key)
        self.last[key] = verdict

    def whole_stage(self, kind: WholeStage) -> bool:
        """Do what the intent says. Returns false if it is refused."""
        stage = self.stage
        here = [f for f in (1, 2) if (stage, f) in self.last]
        open_ones = [f for f in (1, 2) if self.last.get((stage, f)) != "ok"]
        if kind == "stage-again":
            if not here or (self.stages[stage].units == ANGLES and not self.stages[stage].check):
                return False
            for f in here:
                del self.last[stage, f]
            return True
        out = any(self.last[stage, f] != "ok" for f in here)
        if self.stages[stage].check or out or any((stage, f) in self.tight for f in open_ones):
            return False
        self.last.update({(stage, f): "ok" for f in open_ones})
        return True

    def verdict(self, value: Fraction) -> str:
        stage = self.stages[self.stage]
        return "low" if value < stage.low else "high" if value > stage.high else "ok"


def reading(stage: ModelStage, end: int, which: str, nudge: int) -> tuple[str, Fraction]:
    """A value below, inside, at or above the band, in a unit that is not always the stage's."""
    unit = stage.units[(nudge if which == "first" else nudge + 1) % len(stage.units)]
    factor = FACTORS[unit]
    width = stage.high - stage.low
    exact = {
        -1: stage.low - width / 50 * (nudge + 1),
        0: stage.low,
        1: stage.low + width * nudge / 3,
        2: stage.high + width / 50 * (nudge + 1),
    }[end]
    typed = f"{float(exact / factor):.6f}"
    return f"{typed} {unit}", Fraction(typed) * factor


@given(cases())
@settings(max_examples=60, deadline=None)
def test_verdicts_and_progress_equal_the_model(case: Case) -> None:
    tolerance = f", tolerance: {case.tolerance}" if case.tolerance else ""
    listed = ", ".join(stage.text for stage in case.stages)
    operation = f"{{id: pull, title: Pull, tighten: {{joint: studs, stages: [{listed}]{tolerance}}}}}"
    text = procedure_with(operation, head="joints: {studs: {title: Studs, layout: '1 2'}}\n")
    with TemporaryDirectory() as folder:
        script = Script(Path(folder), text)
        script.do_all(open_intent(), intent("start", operation="pull"))
        _compare(script, case)


def _compare(script: Script, case: Case) -> None:
    model = Model(case.stages)
    sent: list[Json] = []
    expected: list[Any] = []
    for action in case.actions:
        if model.stage == len(case.stages):
            break
        if isinstance(action, str):
            sent += [intent(action, joint="studs"), intent("status")]
            expected += [model.whole_stage(action), (model.stage + 1, model.done())]
            continue
        fastener, end, which, nudge, loosened = action
        typed, value = reading(case.stages[model.stage], end, which, nudge)
        sent += [intent("tick", joint="studs", fastener=fastener, value=typed, loosened=loosened), intent("status")]
        if model.refusal(fastener, loosened):
            expected.append(None)
        else:
            verdict = model.verdict(value)
            model.tick(fastener, verdict, loosened)
            expected.append(verdict)
        expected.append((model.stage + 1, model.done()))
    replies = script.send(*sent) if sent else []
    found: list[Any] = []
    for asked, reply in zip(sent, replies, strict=True):
        if asked["intent"] in ("tick-rest", "stage-again"):
            found.append(reply["ok"])
        elif "status" in reply:
            joint = reply["status"]["joint"]
            found.append((joint["stage"], joint["done"]))
        else:
            found.append(reply["events"][-1]["data"]["verdict"] if reply["ok"] else None)
    assert found == expected, (case.stages, sent)
    (finish,) = script.send(intent("finish"))
    assert finish["ok"] == (model.stage == len(case.stages))
