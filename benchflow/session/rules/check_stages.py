"""Check stages of a joint: the readings on each fastener and the verdict on them."""

from msgspec import Struct

from benchflow.procedure.model import CheckStage
from benchflow.quantity import Limit, Quantity, dimension_of, show
from benchflow.session.rules.verdicts import from_stored
from benchflow.session.state.events import StoredQuantity
from benchflow.trade.decision_rules import judge
from benchflow.trade.verdict import Verdict


class CheckResult(Struct, frozen=True):
    """The verdict on one fastener.

    ``corner`` is the combination of torque and stretch, and ``reason`` its usual cause. Both are empty if the stage
    does not ask for both.
    """

    verdict: Verdict
    corner: str = ""
    reason: str = ""


def limit_unit(limit: Limit) -> str:
    """The unit of a limit."""
    edge = limit.low or limit.high
    assert edge is not None  # a limit has at least one end
    return edge.unit


def quantity_name(limit: Limit) -> str:
    """The name of the quantity that a check stage limits: torque, angle, or for a length, stretch."""
    kind = dimension_of(limit_unit(limit))
    return "stretch" if kind == "length" else kind


def judge_check(stage: CheckStage, value: Quantity, stretch: Quantity | None) -> CheckResult:
    """The verdict on one fastener, by simple acceptance: of torque and stretch together if the stage asks for both."""
    found = judge(value, stage.limit, "simple")
    if stretch is None or stage.stretch is None:
        return CheckResult(found.verdict)
    from benchflow.trade.torque_and_stretch import judge_torque_and_stretch  # imported late: few joints need it

    both = judge_torque_and_stretch(value, stretch, stage.limit, stage.stretch)
    if both.corner == "ok":
        return CheckResult("ok", "ok")
    verdict = found.verdict if found.verdict != "ok" else judge(stretch, stage.stretch, "simple").verdict
    return CheckResult(verdict, both.corner, both.meaning)


def check_text(stage: CheckStage, value: StoredQuantity, stretch: StoredQuantity | None) -> str:
    """The readings, the limits and the reason.

    For example ``96 N·m and 0.12 mm, limit 95 .. 120 N·m and 0.14 .. 0.16 mm: the torque was lost to friction``.
    """
    read = [from_stored(reading) for reading in (value, stretch) if reading is not None]
    limits = [limit.text for limit in (stage.limit, stage.stretch) if limit is not None]
    found = judge_check(stage, read[0], read[1] if len(read) > 1 else None)
    reason = f": {found.reason}" if found.reason else ""
    return f"{' and '.join(show(reading) for reading in read)}, limit {' and '.join(limits)}{reason}"
