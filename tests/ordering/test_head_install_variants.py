"""The head installation with one line removed or wrong: each change is found, or shown to change nothing.

Every verdict and every shortest length is compared with brute force over the operations that use a state
(:mod:`.condensed`).
"""

import re
from functools import cache
from pathlib import Path

import pytest

from benchflow.ordering.proof import OrderFinding, Proof, prove
from benchflow.procedure.expand import expand, option_choices
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from benchflow.procedure.reader import read
from tests.ordering import brute
from tests.ordering.condensed import Condensed

HEAD_INSTALL = Path(__file__).parents[2] / "procedures" / "head-install.yaml"


@cache
def text() -> str:
    return HEAD_INSTALL.read_text(encoding="utf-8")


def struck(name: str, old: str, new: str = "") -> Procedure:
    """The head install with ``old`` struck out (or written as ``new``) where operation or move ``name`` stands."""
    head = re.search(rf"^  (- id: {name}|{name}:)$", text(), re.MULTILINE)
    assert head is not None, name
    place = text().index(old, head.end())
    following = re.search(r"^  (- id: \S+|[a-z-]+:)$", text()[head.end() :], re.MULTILINE)
    assert following is not None
    assert place < head.end() + following.start(), f"{old!r} does not stand in {name}"
    return understood(text()[:place] + new + text()[place + len(old) :])


def understood(changed: str) -> Procedure:
    reading = read(changed)
    assert reading.procedure is not None, reading.problems
    return reading.procedure


def builds(procedure: Procedure) -> list[tuple[Plan, Condensed]]:
    plans = [expand(procedure, options) for options in option_choices(procedure)]
    return [(plan, Condensed(plan)) for plan in plans]


@cache
def reached_as_written() -> list[set[brute.Place]]:
    return [set(truth.reached) for _, truth in builds(understood(text()))]


def agreed(procedure: Procedure, proof: Proof) -> None:
    """The proof and brute force say the same of every build, and no witness could be shorter."""
    truths = builds(procedure)
    for code, fewest in (
        ("dead-end", [truth.dead_end for _, truth in truths]),
        ("interlock-needed", [truth.breach for _, truth in truths]),
    ):
        lengths = [len(order(each)) for each in proof.findings if each.code == code]
        assert min(lengths, default=None) == min((each for each in fewest if each is not None), default=None)
    lost = {plan.steps[name].operation.id for plan, truth in truths for name in truth.unreachable}
    assert {each.where for each in proof.findings if each.code == "unreachable-operation"} == lost
    for each in proof.findings:
        if each.code in ("dead-end", "interlock-needed"):
            replayed(procedure, each)


def order(each: OrderFinding) -> tuple[str, ...]:
    assert isinstance(each.order, tuple)
    return each.order


def replayed(procedure: Procedure, each: OrderFinding) -> None:
    """Doing the steps one after another in the whole plan shows what the finding says."""
    assert isinstance(each.start, dict)
    assert isinstance(each.options, dict)
    plan = expand(procedure, each.options)
    walked: list[brute.Action] = [("operation" if name in plan.steps else "move", name) for name in order(each)]
    start = (frozenset[str](), brute.standing(each.start))
    if each.code == "interlock-needed":
        *walked, last = walked
        before = brute.replays(plan, start, walked)
        assert before is not None
        assert any(action == last and bad for action, _, bad in brute.tries(plan, before))
    else:
        end = brute.replays(plan, start, walked)
        assert end is not None
        condensed = Condensed(plan)
        assert (end[0] & frozenset(condensed.plan.steps), end[1]) not in condensed.finishable


def test_head_install_as_shipped_has_no_findings() -> None:
    procedure = understood(text())
    proof = prove(procedure)
    assert proof.findings == ()
    assert proof.complete
    agreed(procedure, proof)


# What would have happened, and the line that stood against it: (operation or move, what is struck, what it becomes,
# the codes that catch it, the last steps of a shortest witness).
CAUGHT = {
    "pistons not turned down before a cam goes on": (
        "draw-down-cam",
        "{pistons: down, head: tightened}",
        "{head: tightened}",
        {"interlock-needed"},
        ["draw-down-cam[intake]"],
    ),
    "crank turned up to its mark under valves that a cam holds open": (
        "crank-up-to-mark",
        "valves: [shut, at-marks, in-step], ",
        "",
        {"interlock-needed"},
        ["draw-down-cam[intake]", "crank-up-to-mark"],
    ),
    "crank turned back with the chain hung on and not yet tight": (
        "pistons-half-way",
        "chain: [off, timed, proven], ",
        "",
        {"dead-end"},
        ["hang-chain", "pistons-half-way"],
    ),
    "head let down before its gasket was tried": (
        "apply-sealant",
        "    after: [rig-head]\n",
        "",
        {"dead-end"},
        ["apply-sealant", "set-head-down"],
    ),
    "head let down on dry corners, with the sealant never put on": (
        "set-head-down",
        "    time: {apply-sealant: at most 10 min}\n",
        "",
        {"dead-end"},
        ["set-head-down"],
    ),
    "head torqued before it lies on the block": (
        "tighten-head",
        "    after: [fit-nuts]\n",
        "",
        {"dead-end"},
        ["apply-sealant", "tighten-head"],
    ),
    "timing unit pushed onto a cam that is not there": (
        "fit-timing-unit",
        '    after: ["end-float[intake]"]\n',
        "",
        {"dead-end", "interlock-needed"},
        ["fit-timing-unit"],
    ),
    "exhaust gear tightened on a cam that still lies on the bench": (
        "fit-exhaust-gear",
        '    after: ["end-float[exhaust]"]\n',
        "",
        {"dead-end", "interlock-needed"},
        ["fit-exhaust-gear"],
    ),
    "cams set on their marks with only one of them in": (
        "set-cams",
        "[tighten-unit, fit-exhaust-gear]",
        "[tighten-unit]",
        {"dead-end"},
        ["lay-cam[exhaust]", "draw-down-cam[exhaust]"],
    ),
    "chain hung on with the crank off its mark": (
        "hang-chain",
        "{pistons: at-mark, cams: at-marks}",
        "{cams: at-marks}",
        {"dead-end"},
        ["pistons-half-way", "hang-chain"],
    ),
    "tensioner let go before it is bolted on": (
        "release-tensioner",
        "    after: [fit-tensioner]\n",
        "",
        {"dead-end"},
        ["hang-chain", "release-tensioner"],
    ),
    "setting bar drawn before the marks were looked at": (
        "take-bar-out",
        "    after: [check-marks]\n",
        "",
        {"dead-end"},
        ["release-tensioner", "take-bar-out"],
    ),
    "battery taken off before the starter was heard to click": (
        "disconnect-battery",
        "    after: [click-test]\n",
        "",
        {"dead-end"},
        ["connect-battery", "disconnect-battery"],
    ),
}


@pytest.mark.parametrize(
    ("name", "old", "new", "codes", "last"),
    [pytest.param(*each, id=what) for what, each in CAUGHT.items()],
)
def test_removing_a_line_that_protects_the_engine_is_found(
    name: str, old: str, new: str, codes: set[str], last: list[str]
) -> None:
    procedure = struck(name, old, new)
    proof = prove(procedure)
    assert proof.complete
    assert {each.code for each in proof.findings} == codes
    # Where a rule would be broken, that is what the mechanic wants to see.
    first = next(each for each in proof.findings if each.code == max(codes))
    assert list(order(first))[-len(last) :] == last
    agreed(procedure, proof)


# Needs that the order brings about anyway: striking one changes no configuration that can be reached.
NO_LOSS = {
    "the order already has the head tight before a cam is laid in": (
        "lay-cam",
        "{pistons: down, head: tightened}",
        "{pistons: down}",
    ),
    "the cams are still on their marks when the chain is hung": (
        "hang-chain",
        "{pistons: at-mark, cams: at-marks}",
        "{pistons: at-mark}",
    ),
    "the tensioner is let go only after it was pinned back": (
        "release-tensioner",
        "tensioner: held, ",
        "",
    ),
    "the battery is connected only after two turns by hand": (
        "connect-battery",
        "    needs: {chain: proven}\n",
        "",
    ),
    "the valves are shut as long as no cam is in": (
        "measure-protrusion",
        "{valves: shut, battery: off}",
        "{battery: off}",
    ),
    "nothing turns the crank back between tightening the chain and drawing the bar": (
        "take-bar-out",
        "{pistons: at-mark, tensioner: released, chain: hung}",
        "{tensioner: released, chain: hung}",
    ),
}


@pytest.mark.parametrize(("name", "old", "new"), [pytest.param(*each, id=what) for what, each in NO_LOSS.items()])
def test_removing_a_need_that_the_order_guarantees_changes_nothing(name: str, old: str, new: str) -> None:
    procedure = struck(name, old, new)
    proof = prove(procedure)
    assert proof.findings == ()
    assert proof.complete
    assert [set(truth.reached) for _, truth in builds(procedure)] == reached_as_written()
    agreed(procedure, proof)


# Lines that are not lost but slip: (operation, as written, as slipped, the code, where it is found).
SLIPPED = {
    "head never comes tight, so no cam may ever go on": (
        "tighten-head",
        "    sets: {head: tightened}\n",
        "",
        "unreachable-operation",
        "lay-cam",
    ),
    "window of another sealant: closed before the nuts are down": (
        "tighten-head",
        "at most 40 min",
        "at most 20 min",
        "time-conflict",
        "tighten-head",
    ),
    "studs to be seated after the nuts that go on them": (
        "seat-studs",
        "after: [set-head-down]",
        "after: [set-head-down, fit-nuts]",
        "order-cycle",
        "seat-studs",
    ),
    "followers asked for again where the carriers wait for them": (
        "lay-cam",
        "after: [fit-carriers,",
        "after: [fit-followers, fit-carriers,",
        "redundant-after",
        "lay-cam.after[1]",
    ),
}


@pytest.mark.parametrize(
    ("name", "old", "new", "code", "where"), [pytest.param(*each, id=what) for what, each in SLIPPED.items()]
)
def test_wrong_line_is_found_at_its_place(name: str, old: str, new: str, code: str, where: str) -> None:
    procedure = struck(name, old, new)
    found = [each for each in prove(procedure).findings if each.code == code]
    assert where in {each.where for each in found}
    if code in ("time-conflict", "redundant-after"):
        assert len(found) == 1
