"""Builds of the shipped procedures with one planted fault each, or with none, and what a review says of them.

The kinds come from what a practitioner wants found when a car comes back, not from the program's table. The same seed
gives the same build. All data is invented.
"""

import json
import re
from datetime import timedelta
from functools import cache
from pathlib import Path
from random import Random
from typing import Any, Literal

from msgspec import Struct

from benchflow.procedure.compiled_cache import Loaded, read_text
from benchflow.procedure.expand import expand
from benchflow.procedure.model import InstrumentNeed, Procedure
from benchflow.quantity import Limit
from benchflow.review.audit.audited_log import with_audit
from benchflow.review.evidence.assessment import ReviewedStep, review_everything, review_failure
from benchflow.review.log.loaded_log import LoadedLog, load_log
from benchflow.session.shop.register import Shop
from benchflow.session.shop.register_reader import read_shop
from tests.driving.fault import Fault
from tests.driving.honest_noise import HonestNoise
from tests.driving.planted_joints import JOINT_FAULTS, EnteredTogether
from tests.driving.planted_people import PEOPLE_FAULTS, HoldWaived, SignedByAStranger
from tests.driving.planted_readings import READING_FAULTS
from tests.driving.planted_times import TIME_FAULTS
from tests.driving.planted_tools import OTHER_FAULTS
from tests.driving.session_driver import ManualClock
from tests.driving.shipped import WRITTEN_OUT
from tests.driving.working_builder import BEGIN, BUILDER, CALIBRATED, HELPER, INSPECTOR, WorkingBuilder
from tests.review.played_builds import Uncounted

KINDS: tuple[type[Fault], ...] = (*READING_FAULTS, *JOINT_FAULTS, *TIME_FAULTS, *PEOPLE_FAULTS, *OTHER_FAULTS)
FOUND = "prove-one"
"""An operation that is done only after a finding. The only fault that is possible in it makes the finding."""

PROCEDURES = tuple(sorted(path.stem for path in WRITTEN_OUT.glob("*.yaml")))

Verdict = Literal["first", "in three", "other reason", "missed", "clean", "accused", "not made"]


class Judged(Struct, frozen=True):
    """One build, what was planted in it and what the review said.

    ``said`` are the sentences about the steps that it names first. ``complaint`` is the verdict on the answer to a
    complaint that the operation guards against, ``elsewhere`` to one that it does not guard against; "" where there is
    none.
    """

    kind: str
    procedure: str
    seed: int
    operation: str
    size: str
    verdict: Verdict
    said: tuple[str, ...] = ()
    complaint: Verdict | Literal[""] = ""
    elsewhere: Verdict | Literal[""] = ""


@cache
def source(procedure: str) -> Loaded:
    path = WRITTEN_OUT / f"{procedure}.yaml"
    return _read(path.read_text(encoding="utf-8"), path.name)


@cache
def _read(text: str, file: str) -> Loaded:
    loaded = read_text(text, file)
    assert loaded.procedure is not None, [str(problem) for problem in loaded.problems]
    return loaded


def read(text: str) -> Procedure:
    """The procedure of a log."""
    procedure = _read(text, "p.yaml").procedure
    assert procedure is not None
    return procedure


# --- the shop -------------------------------------------------------------------------------------


def instrument(need: InstrumentNeed) -> dict[str, Any]:
    """An instrument that is fit for ``need``: with half the uncertainty that it may have."""
    found: dict[str, Any] = {
        "title": need.title, "kind": need.kind, "serial": f"S-{need.id}", "calibrated": str(CALIBRATED),
        "calibration-due": str(CALIBRATED + timedelta(days=365)),
    }  # fmt: skip
    if need.covers is not None:
        found["range"] = wider(need.covers) if "torque" in need.kind else need.covers.text
        if "torque" in need.kind and need.covers.low is not None:  # it reads well from the low end of its range on
            low = need.covers.low
            found["scale"] = f"{float(low.value) * 3:g} {low.unit}" if low.value else f"1 {low.unit}"
    if need.uncertainty is not None:
        number, unit = re.fullmatch(r"at most ([\d.]+)(.*)", need.uncertainty.text).groups()  # type: ignore[union-attr]  # all shipped ones are written so
        found["uncertainty"] = f"{float(number) / 2:g}{unit}"
    return found


def wider(limit: Limit) -> str:
    """The range of a wrench, which covers more than is needed: with an adapter it is set to less."""
    assert limit.low is not None
    assert limit.high is not None
    return f"{float(limit.low.value) * 0.7:g} .. {float(limit.high.value) * 1.4:g} {limit.high.unit}"


REGISTER = "5e" * 16
"""The permanent id of the register. A register without one is written again at the first job, which takes time."""


def shop_of(procedure: Procedure) -> dict[str, Any]:
    people = {
        BUILDER: {"roles": ["builder"]},
        INSPECTOR: {"roles": ["builder", "inspector"]},
        HELPER: {"roles": ["builder"]},
    }
    instruments = {need.id: instrument(need) for need in procedure.instruments}
    return {"shop": 1, "id": REGISTER, "name": "An invented bench", "people": people, "instruments": instruments}


def shop_text(shop: dict[str, Any]) -> str:
    """The shop file: JSON is YAML. Keys with ``None`` are left out."""
    instruments = {
        name: {key: value for key, value in one.items() if value is not None}
        for name, one in shop["instruments"].items()
    }
    return json.dumps({**shop, "instruments": instruments}, ensure_ascii=False)


def read_register(text: str) -> Shop:
    parsed = read_shop(text)
    assert parsed.shop is not None, [str(problem) for problem in parsed.problems]
    return parsed.shop


# --- one build ------------------------------------------------------------------------------------


def options_with(kind: type[Fault], procedure: Procedure, chance: Random) -> tuple[dict[str, str], list[str]]:
    """Options of a build, at random, and the operations in which the fault is possible with them."""
    options = {option.name: chance.choice(option.choices) for option in procedure.options}
    plan = expand(procedure, options)
    return options, [name for name in kind.places(plan) if not name or not plan.steps[name].awaits or name == FOUND]


def build(kind: type[Fault], procedure: str, seed: int, folder: Path) -> tuple[Path, Fault, Shop] | None:
    """The log of one build with a fault of ``kind``, and the register of the review; ``None`` if it has no place."""
    chance = Random(f"{kind.kind} {procedure} {seed}")
    plain = source(procedure)
    assert plain.procedure is not None
    options, places = options_with(kind, plain.procedure, chance)
    if not places:
        return None
    fault = kind(chance.choice(places), chance)
    noise = HonestNoise("", chance) if kind is Fault or chance.random() < 0.5 else Fault("", chance)
    text = fault.procedure_text(plain.text)
    shop = shop_of(plain.procedure)
    fault.shop(shop)
    file = folder / "shop.yaml"
    file.write_text(shop_text(shop), encoding="utf-8")
    with_register = kind not in (SignedByAStranger, HoldWaived)
    tools = {need.id: f"S-{need.id}" for need in plain.procedure.instruments}
    log = folder / f"{procedure}-{seed}-{kind.__name__}.jsonl"
    log.unlink(missing_ok=True)
    builder = WorkingBuilder(
        _read(text, f"{procedure}.yaml"), f"{procedure}.yaml", log, chance=chance, read=read, clock=ManualClock(BEGIN),
        register=Uncounted(file) if with_register else None, tools=tools, fault=fault, noise=noise,
    )  # fmt: skip
    builder.build(f"job {seed}", options)
    noise.shop_of_review(shop)
    fault.shop_of_review(shop)
    reviewed = folder / "review-shop.yaml"
    reviewed.write_text(shop_text(shop), encoding="utf-8")
    return log, fault, read_register(shop_text(shop))


def judge(kind: type[Fault], procedure: str, seed: int, folder: Path) -> Judged | None:
    """Build, review and judge; ``None`` if the fault has no place in this build."""
    made = build(kind, procedure, seed, folder)
    if made is None:
        return None
    log, fault, shop = made
    if kind is not Fault and not fault.shown:
        return None
    loaded = with_audit(load_log(log, read))
    verdict, named = judged_steps(fault, kind, review_everything(loaded, shop).guards)
    said = tuple(
        f"{step.operation or 'the whole job'} ({step.grade}): {'; '.join(reason.words for reason in step.reasons[:3])}"
        for step in named
    )
    answered = complaint_verdict(fault, kind, loaded, shop)
    elsewhere = elsewhere_verdict(fault, loaded, shop) if any(step.suspect for step in named) else ""
    return Judged(kind.kind, procedure, seed, fault.operation, fault.size, verdict, said, answered, elsewhere)


def complaint_verdict(fault: Fault, kind: type[Fault], log: LoadedLog, shop: Shop) -> Verdict | Literal[""]:
    """The verdict on the review of a failure that the operation of the fault guards against."""
    step = log.plan.steps.get(fault.operation)
    if step is None or kind is EnteredTogether or not step.operation.guards_against:
        return ""
    failure = log.procedure.failures_by_id[step.operation.guards_against[0].name]
    return judged_steps(fault, kind, review_failure(log, failure, shop).guards)[0]


def elsewhere_verdict(fault: Fault, log: LoadedLog, shop: Shop) -> Verdict | Literal[""]:
    """The verdict on what the review of another failure says about the rest of the build."""
    step = log.plan.steps.get(fault.operation)
    guarded = {ref.name for ref in step.operation.guards_against} if step is not None else set()
    other = next((failure for failure in log.procedure.failures if failure.id not in guarded), None)
    if step is None or other is None:
        return ""
    review = review_failure(log, other, shop)
    named = {review.guards[0].operation} if review.guards else set()  # what belongs to no step is always reviewed
    if review.elsewhere is not None:
        named.add(review.elsewhere.operation)
    return "first" if named & fault.right else "missed"


def judged_steps(
    fault: Fault, kind: type[Fault], guards: tuple[ReviewedStep, ...]
) -> tuple[Verdict, list[ReviewedStep]]:
    """The verdict, and the steps that have to be looked at for it."""
    suspects = [step for step in guards if step.suspect]
    if kind is Fault:
        return ("accused" if suspects else "clean"), suspects
    right = [step for step in guards if step.operation in fault.right or "*" in fault.right]
    if kind is EnteredTogether:
        named = [step for step in right if says(step, fault.said)]
        return ("accused" if suspects else "first" if named else "missed"), suspects or named or right
    first = guards[0]
    if first in right and first.reasons and first.grade > UNREMARKABLE:
        return ("first" if says(first, fault.said) else "other reason"), [first]
    if any(step in right and says(step, fault.said) for step in guards[:3]):
        return "in three", list(guards[:3])
    return "missed", [*guards[:1], *right[:1]]


UNREMARKABLE = 5
"""Up to this grade a step has nothing that anybody would look at."""


def says(step: ReviewedStep, wanted: str) -> bool:
    return any(re.search(wanted, f"{reason.title}: {reason.words}") for reason in step.reasons)
