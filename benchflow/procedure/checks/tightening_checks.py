"""Checks of tightening stages against their joint: groups, order of stages, total angle, fasteners left out."""

from collections.abc import Iterator
from decimal import Decimal

from benchflow.procedure.model import AngleStage, Joint, LoosenStage, Mark, Procedure, Stage, Tighten, TorqueStage
from benchflow.procedure.problems import hint_for
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlSequence
from benchflow.quantity import Quantity, base, convert, show


def check_tightening(procedure: Procedure, context: ReadContext) -> None:
    """Report problems in the stages of every joint that was read without an error."""
    for operation in procedure.operations:
        joint = None if operation.tighten is None else procedure.joints_by_id.get(operation.tighten.joint)
        if operation.tighten is not None and joint is not None and joint.count:
            _check_stages(operation.tighten, joint, context)


def _check_stages(tighten: Tighten, joint: Joint, context: ReadContext) -> None:
    node = context.nodes.get(("stages", tighten.mark))
    items = node.items if isinstance(node, YamlSequence) else []
    marks = [item.mark for item in items]
    if not marks or len(marks) != len(tighten.stages):
        return  # a stage could not be read, so checks of the other stages would mislead
    if not _groups_known(tighten, joint, items, context):
        return
    _check_order(tighten, joint, marks, context)
    _check_total(tighten, joint, context)
    _check_all_tightened(tighten, joint, context)


def _groups_known(tighten: Tighten, joint: Joint, items: list[YamlNode], context: ReadContext) -> bool:
    known = True
    for stage, node in zip(tighten.stages, items, strict=True):
        if stage.only is None or stage.only in joint.groups:
            continue
        written = (
            [value for key, value in node.pairs if key.text == "only"] if isinstance(node, YamlMapping) else [node]
        )
        context.problem(
            "unknown-name",
            written[0].mark,
            f"The joint `{joint.id}` has no group `{stage.only}`",
            hint_for(stage.only, joint.groups, "The joint has no `groups`"),
        )
        known = False
    return known


def _members(stage: Stage, joint: Joint) -> tuple[int, ...]:
    return joint.groups[stage.only] if stage.only is not None else tuple(range(1, joint.count + 1))


def _stages_of(fastener: int, tighten: Tighten, joint: Joint) -> Iterator[tuple[int, Stage]]:
    for index, stage in enumerate(tighten.stages):
        if fastener in _members(stage, joint):
            yield index, stage


def _check_order(tighten: Tighten, joint: Joint, marks: list[Mark], context: ReadContext) -> None:
    """Report an angle stage on a fastener that no torque has seated, and a torque below an earlier one."""
    unseated: set[int] = set()
    slack: set[int] = set()
    lower: dict[int, tuple[Quantity, Quantity]] = {}
    for fastener in range(1, joint.count + 1):
        seated, loosened = False, False
        highest: Quantity | None = None
        for index, stage in _stages_of(fastener, tighten, joint):
            if isinstance(stage, TorqueStage):
                if highest is not None and base(stage.torque) < base(highest):
                    lower[index] = (stage.torque, highest)
                seated, loosened, highest = True, False, stage.torque
            elif isinstance(stage, LoosenStage):
                loosened, highest = True, None
            elif isinstance(stage, AngleStage):
                if not seated:
                    unseated.add(index)
                elif loosened:
                    slack.add(index)
                highest = None  # the torque after turning by an angle is not known
    for index in sorted(unseated):
        context.problem(
            "stage-order",
            marks[index],
            f"`{tighten.stages[index].text}` comes before a torque that seats the fastener",
            "Write the seating torque before it",
        )
    for index in sorted(slack - unseated):
        context.problem(
            "stage-order",
            marks[index],
            f"`{tighten.stages[index].text}` follows loosening without a torque that seats the fastener again",
            "Write the seating torque before it",
            severity="warning",
        )
    for index, (torque, highest) in sorted(lower.items()):
        context.problem(
            "falling-torque",
            marks[index],
            f"{torque.entered} after {highest.entered} has no effect, because the fastener is already tighter",
            "Check whether a stage `loosen` is missing before it",
            severity="warning",
        )


def _check_total(tighten: Tighten, joint: Joint, context: ReadContext) -> None:
    """Report a fastener whose angles do not add up to the printed total."""
    if tighten.total_angle is None:
        return
    printed = convert(tighten.total_angle, "°").value
    sums: dict[int, Decimal] = {}
    for fastener in range(1, joint.count + 1):
        angles = [
            convert(stage.angle, "°").value
            for _, stage in _stages_of(fastener, tighten, joint)
            if isinstance(stage, AngleStage)
        ]
        if angles or not any(stage.only for stage in tighten.stages):
            sums[fastener] = sum(angles, Decimal(0))
    wrong = next(((fastener, total) for fastener, total in sums.items() if total != printed), None)
    if wrong is None and sums:
        return
    node = context.nodes["total-angle", tighten.mark]
    fastener, total = wrong or (1, Decimal(0))
    whose = "The angles" if len(set(sums.values())) <= 1 else f"The angles of fastener {fastener}"
    made = show(Quantity(total, "°", ""))
    context.problem(
        "total-angle",
        node.mark,
        f"{whose} add up to {made}, but {tighten.total_angle.entered} is printed",
        "Compare the stages and the total with the source",
    )


def _check_all_tightened(tighten: Tighten, joint: Joint, context: ReadContext) -> None:
    left = [n for n in range(1, joint.count + 1) if not any(True for _ in _stages_of(n, tighten, joint))]
    if left:
        numbers = ", ".join(map(str, left[:8])) + (", ..." if len(left) > 8 else "")
        context.problem(
            "never-tightened",
            context.nodes["stages", tighten.mark].mark,
            f"No stage tightens fastener {numbers}",
            "Compare `only` with the groups of the joint",
            severity="warning",
        )
