"""The head installation with one line removed or wrong. The proof finds the mistake if it has an effect.

Every verdict and every shortest length is compared with brute force over the operations that use a state
(:mod:`.condensed`).
"""

import re
from functools import cache

import pytest

from benchflow.ordering.proof import OrderFinding, Proof, prove
from benchflow.procedure.expand import expand, option_choices
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from benchflow.procedure.reader import read
from tests.driving.shipped import WRITTEN_OUT
from tests.ordering import brute_force
from tests.ordering.condensed import Condensed

HEAD_INSTALL = WRITTEN_OUT / "head-install.yaml"


@cache
def text() -> str:
    return HEAD_INSTALL.read_text(encoding="utf-8")


def with_line_replaced(name: str, old: str, new: str = "") -> Procedure:
    """The head installation with ``old`` replaced by ``new`` in the operation or move ``name``."""
    head = re.search(rf"^  (- id: {name}|{name}:)$", text(), re.MULTILINE)
    assert head is not None, name
    place = text().index(old, head.end())
    following = re.search(r"^  (- id: \S+|[a-z-]+:)$", text()[head.end() :], re.MULTILINE)
    assert following is not None
    assert place < head.end() + following.start(), f"{old!r} is not in {name}"
    return parsed(text()[:place] + new + text()[place + len(old) :])


def parsed(changed: str) -> Procedure:
    reading = read(changed)
    assert reading.procedure is not None, reading.problems
    return reading.procedure


def builds(procedure: Procedure) -> list[tuple[Plan, Condensed]]:
    plans = [expand(procedure, options) for options in option_choices(procedure)]
    return [(plan, Condensed(plan)) for plan in plans]


@cache
def reached_in_the_shipped_file() -> list[set[brute_force.Node]]:
    return [set(truth.reached) for _, truth in builds(parsed(text()))]


def assert_agrees_with_brute_force(procedure: Procedure, proof: Proof) -> None:
    """Check that the proof and brute force give the same verdicts on every build, and equally short witnesses."""
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
            assert_witness_replays(procedure, each)


def order(finding: OrderFinding) -> tuple[str, ...]:
    assert isinstance(finding.order, tuple)
    return finding.order


def assert_witness_replays(procedure: Procedure, finding: OrderFinding) -> None:
    """Check that doing the steps of the witness one by one in the whole plan shows the finding."""
    assert isinstance(finding.start, dict)
    assert isinstance(finding.options, dict)
    plan = expand(procedure, finding.options)
    walked: list[brute_force.Action] = [
        ("operation" if name in plan.steps else "move", name) for name in order(finding)
    ]
    start = (frozenset[str](), brute_force.value_pairs(finding.start))
    if finding.code == "interlock-needed":
        *walked, last = walked
        before = brute_force.replay(plan, start, walked)
        assert before is not None
        assert any(action == last and bad for action, _, bad in brute_force.allowed_on_paper(plan, before))
    else:
        end = brute_force.replay(plan, start, walked)
        assert end is not None
        condensed = Condensed(plan)
        assert (end[0] & frozenset(condensed.plan.steps), end[1]) not in condensed.finishable


def test_head_install_as_shipped_has_no_findings() -> None:
    procedure = parsed(text())
    proof = prove(procedure)
    assert proof.findings == ()
    assert proof.complete
    assert_agrees_with_brute_force(procedure, proof)


# Lines that prevent damage, each under the name of its case. An entry is the operation or move, the line, its
# replacement, the codes of the findings without the line, and the last steps of a shortest witness.
PROTECTING_LINES = {
    "pistons at the deck while a cam is drawn down": (
        "draw-down-cam",
        "{pistons: down, head: tightened}",
        "{head: tightened}",
        {"interlock-needed"},
        ["draw-down-cam[intake]"],
    ),
    "crank turned to its mark while a cam holds valves open": (
        "crank-up-to-mark",
        "valves: [shut, at-marks, in-step], ",
        "",
        {"interlock-needed"},
        ["draw-down-cam[intake]", "crank-up-to-mark"],
    ),
    "crank turned back before the chain is tight": (
        "pistons-half-way",
        "chain: [off, timed, proven], ",
        "",
        {"dead-end"},
        ["hang-chain", "pistons-half-way"],
    ),
    "head lowered before its gasket was tried": (
        "apply-sealant",
        "    after: [rig-head]\n",
        "",
        {"dead-end"},
        ["apply-sealant", "set-head-down"],
    ),
    "head lowered without sealant on the corners": (
        "set-head-down",
        "    time: {apply-sealant: at most 10 min}\n",
        "",
        {"dead-end"},
        ["set-head-down"],
    ),
    "head tightened before it is on the block": (
        "tighten-head",
        "    after: [fit-nuts]\n",
        "",
        {"dead-end"},
        ["apply-sealant", "tighten-head"],
    ),
    "timing unit fitted before its cam": (
        "fit-timing-unit",
        '    after: ["end-float[intake]"]\n',
        "",
        {"dead-end", "interlock-needed"},
        ["fit-timing-unit"],
    ),
    "exhaust gear fitted before its cam": (
        "fit-exhaust-gear",
        '    after: ["end-float[exhaust]"]\n',
        "",
        {"dead-end", "interlock-needed"},
        ["fit-exhaust-gear"],
    ),
    "cams set to their marks with only one cam fitted": (
        "set-cams",
        "[tighten-unit, fit-exhaust-gear]",
        "[tighten-unit]",
        {"dead-end"},
        ["lay-cam[exhaust]", "draw-down-cam[exhaust]"],
    ),
    "chain fitted with the crank off its mark": (
        "hang-chain",
        "{pistons: at-mark, cams: at-marks}",
        "{cams: at-marks}",
        {"dead-end"},
        ["pistons-half-way", "hang-chain"],
    ),
    "tensioner released before it is bolted on": (
        "release-tensioner",
        "    after: [fit-tensioner]\n",
        "",
        {"dead-end"},
        ["hang-chain", "release-tensioner"],
    ),
    "setting bar removed before the marks were checked": (
        "take-bar-out",
        "    after: [check-marks]\n",
        "",
        {"dead-end"},
        ["release-tensioner", "take-bar-out"],
    ),
    "battery disconnected before the starter was tested": (
        "disconnect-battery",
        "    after: [click-test]\n",
        "",
        {"dead-end"},
        ["connect-battery", "disconnect-battery"],
    ),
}


@pytest.mark.parametrize(
    ("name", "old", "new", "codes", "last"),
    [pytest.param(*each, id=what) for what, each in PROTECTING_LINES.items()],
)
def test_removing_a_line_that_protects_the_engine_is_found(
    name: str, old: str, new: str, codes: set[str], last: list[str]
) -> None:
    procedure = with_line_replaced(name, old, new)
    proof = prove(procedure)
    assert proof.complete
    assert {each.code for each in proof.findings} == codes
    # The order of the broken rule is compared if there is one, because it matters most to the mechanic.
    first = next(each for each in proof.findings if each.code == max(codes))
    assert list(order(first))[-len(last) :] == last
    assert_agrees_with_brute_force(procedure, proof)


# Needs that the order already guarantees. Without one of them, the same configurations can be reached.
GUARANTEED_NEEDS = {
    "the order already puts the head nuts before the cams": (
        "lay-cam",
        "{pistons: down, head: tightened}",
        "{pistons: down}",
    ),
    "the cams are still on their marks when the chain is fitted": (
        "hang-chain",
        "{pistons: at-mark, cams: at-marks}",
        "{pistons: at-mark}",
    ),
    "the tensioner is released only after it was pinned back": (
        "release-tensioner",
        "tensioner: held, ",
        "",
    ),
    "the battery is connected only after two turns by hand": (
        "connect-battery",
        "    needs: {chain: proven}\n",
        "",
    ),
    "the valves are shut until a cam is fitted": (
        "measure-protrusion",
        "{valves: shut, battery: off}",
        "{battery: off}",
    ),
    "no move turns the crank back between tightening the chain and removing the bar": (
        "take-bar-out",
        "{pistons: at-mark, tensioner: released, chain: hung}",
        "{tensioner: released, chain: hung}",
    ),
}


@pytest.mark.parametrize(
    ("name", "old", "new"), [pytest.param(*each, id=what) for what, each in GUARANTEED_NEEDS.items()]
)
def test_removing_a_need_that_the_order_guarantees_changes_nothing(name: str, old: str, new: str) -> None:
    procedure = with_line_replaced(name, old, new)
    proof = prove(procedure)
    assert proof.findings == ()
    assert proof.complete
    assert [set(truth.reached) for _, truth in builds(procedure)] == reached_in_the_shipped_file()
    assert_agrees_with_brute_force(procedure, proof)


# Lines with a mistake: operation, old text, new text, code of the finding, and its place.
WRONG_LINES = {
    "the head is never tightened, so no cam can be fitted": (
        "tighten-head",
        "    sets: {head: tightened}\n",
        "",
        "unreachable-operation",
        "lay-cam",
    ),
    "the window of another sealant closes before the nuts are tight": (
        "tighten-head",
        "at most 40 min",
        "at most 20 min",
        "time-conflict",
        "tighten-head",
    ),
    "the studs are seated after the nuts that hold them": (
        "seat-studs",
        "after: [set-head-down]",
        "after: [set-head-down, fit-nuts]",
        "order-cycle",
        "seat-studs",
    ),
    "followers named again, although the carriers wait for them": (
        "lay-cam",
        "after: [fit-carriers,",
        "after: [fit-followers, fit-carriers,",
        "redundant-after",
        "lay-cam.after[1]",
    ),
}


@pytest.mark.parametrize(
    ("name", "old", "new", "code", "where"), [pytest.param(*each, id=what) for what, each in WRONG_LINES.items()]
)
def test_wrong_line_is_found_at_its_place(name: str, old: str, new: str, code: str, where: str) -> None:
    procedure = with_line_replaced(name, old, new)
    found = [each for each in prove(procedure).findings if each.code == code]
    assert where in {each.where for each in found}
    if code in ("time-conflict", "redundant-after"):
        assert len(found) == 1
