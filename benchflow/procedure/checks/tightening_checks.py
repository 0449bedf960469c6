"""Checks of tightening stages against their joint: groups, order of stages, total angle, fasteners left out."""

from collections.abc import Iterator, Sequence
from fractions import Fraction

from benchflow.procedure.model import (
    AngleStage,
    CheckStage,
    HandStage,
    Joint,
    LoosenStage,
    Mark,
    OpenStage,
    Procedure,
    Stage,
    TickTolerance,
    Tighten,
    TorqueStage,
    single_quantity,
)
from benchflow.procedure.problems import hint_for
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.total_angles import figure_ends, stage_members, wrong_total
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlSequence
from benchflow.quantity import base, dimension_of, show


def check_tightening(procedure: Procedure, context: ReadContext) -> None:
    """Report problems in the stages of every joint that was read without an error."""
    for operation in procedure.operations:
        joint = None if operation.tighten is None else procedure.joints_by_id.get(operation.tighten.joint)
        if operation.tighten is not None and joint is not None and joint.count:
            _check_stages(operation.tighten, joint, context)
            _check_tolerance([operation.tighten], operation.tighten.tolerance, operation.tighten.mark, context)
            _check_width(operation.tighten, joint, context)
    for joint in procedure.joints:
        tightens = [o.tighten for o in procedure.operations if o.tighten is not None and o.tighten.joint == joint.id]
        if tightens:
            _check_tolerance(tightens, joint.tolerance, joint.mark, context)


def _check_stages(tighten: Tighten, joint: Joint, context: ReadContext) -> None:
    node = context.nodes.get(("stages", tighten.mark))
    items = node.items if isinstance(node, YamlSequence) else []
    marks = [item.mark for item in items]
    if not marks or len(marks) != len(tighten.stages):
        return  # a stage could not be read, so checks of the other stages would mislead
    if not _groups_known(tighten, joint, items, context):
        return
    _check_order(tighten, joint, marks, context)
    _check_turns(tighten, marks, context)
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


def _stages_of(fastener: int, tighten: Tighten, joint: Joint) -> Iterator[tuple[int, Stage]]:
    for index, stage in enumerate(tighten.stages):
        if fastener in stage_members(stage, joint):
            yield index, stage


class _FastenerStages:
    """Goes through the stages of one fastener, and notes the stages that are out of order."""

    def __init__(self) -> None:
        self.seated, self.loosened = False, False
        self.highest: tuple[Fraction | None, str] = (None, "")  # the last torque and its text, while it is known

    def torque(self, stage: TorqueStage) -> str:
        """Enter a torque. Returns the text of the earlier torque that is above it; "" if there is none."""
        low, high = figure_ends(stage.torque, stage.band)
        before, text = self.highest
        self.seated, self.loosened, self.highest = True, False, (low, stage.text)
        return text if before is not None and high is not None and high < before else ""

    def loosen(self) -> None:
        self.loosened, self.highest = True, (None, "")

    def by_hand(self) -> None:
        self.seated, self.loosened, self.highest = True, False, (None, "")

    def angle(self) -> None:
        self.highest = (None, "")  # the torque after turning by an angle is not known


def _check_order(tighten: Tighten, joint: Joint, marks: list[Mark], context: ReadContext) -> None:
    """Report an angle stage on a fastener that no torque has seated, and a torque below an earlier one."""
    unseated: set[int] = set()
    slack: set[int] = set()
    lower: dict[int, str] = {}
    for fastener in range(1, joint.count + 1):
        so_far = _FastenerStages()
        for index, stage in _stages_of(fastener, tighten, joint):
            if isinstance(stage, TorqueStage):
                above = so_far.torque(stage)
                if above:
                    lower[index] = above
            elif isinstance(stage, OpenStage) and stage.what == "torque":
                so_far.by_hand()  # it seats the fastener, and its torque is not known
            elif isinstance(stage, LoosenStage):
                so_far.loosen()
            elif isinstance(stage, HandStage):
                so_far.by_hand()
            elif isinstance(stage, AngleStage | OpenStage):
                if not so_far.seated:
                    unseated.add(index)
                elif so_far.loosened:
                    slack.add(index)
                so_far.angle()
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
        )
    for index, highest in sorted(lower.items()):
        context.problem(
            "falling-torque",
            marks[index],
            f"{tighten.stages[index].text} after {highest} has no effect, because the fastener is already tighter",
            "Check whether a stage `loosen` is missing before it",
            severity="warning",
        )


def _check_tolerance(tightens: Sequence[Tighten], tolerance: TickTolerance, mark: Mark, context: ReadContext) -> None:
    """Report a tolerance of a kind that no stage has, such as one of an angle where all stages are torques."""
    kinds = {_kind(stage) for tighten in tightens for stage in tighten.stages}
    written = [kind for kind in ("torque", "angle", "length") if tolerance.of_kind(kind) is not None]
    node = context.nodes.get(("tolerance", mark))
    if node is None or not written or not kinds or not kinds.isdisjoint(written):
        return
    names = " or ".join("a stretch" if kind == "length" else f"{_ARTICLES[kind]} {kind}" for kind in written)
    message = f"The tolerance is of {names}, but no stage of the joint is"
    context.problem("wrong-dimension", node.mark, message, "Write the tolerance of a stage, such as `4 %`")


_ARTICLES = {"torque": "a", "angle": "an"}


def _kind(stage: Stage) -> str:
    """The dimension of the figure of a stage; "" without a figure."""
    if isinstance(stage, CheckStage):
        end = stage.limit.low or stage.limit.high
        return "" if end is None else dimension_of(end.unit)
    if isinstance(stage, TorqueStage):
        return "torque"
    if isinstance(stage, OpenStage):
        return stage.what
    return "" if isinstance(stage, HandStage) or stage.angle is None else "angle"


def _check_width(tighten: Tighten, joint: Joint, context: ReadContext) -> None:
    """Report a tolerance that is as large as the figure of a stage: the band would begin at zero or below."""
    for stage in tighten.stages:
        figure = single_quantity(stage)
        if figure is None:
            continue
        kind = dimension_of(figure.unit)
        own, of_joint = tighten.tolerance.of_kind(kind), joint.tolerance.of_kind(kind)
        tolerance, mark = (own, tighten.mark) if own is not None else (of_joint, joint.mark)
        node = context.nodes.get(("tolerance", mark))
        if tolerance is None or node is None or dimension_of(tolerance.unit) == "fraction":
            continue
        if base(tolerance) >= abs(base(figure)):
            message = f"The tolerance {show(tolerance)} is not below {stage.text}, so every low reading is accepted"
            context.problem("bad-quantity", node.mark, message, "Compare the tolerance and its unit with the source")
            return


MOST_TURNS = 2
"""More turns in one stage are probably a misprint (own rule)."""


def _check_turns(tighten: Tighten, marks: list[Mark], context: ReadContext) -> None:
    """Report a stage that turns a fastener by more than :data:`MOST_TURNS`."""
    for stage, mark in zip(tighten.stages, marks, strict=True):
        if not isinstance(stage, AngleStage | LoosenStage) or stage.angle is None:
            continue
        low, high = figure_ends(stage.angle, stage.band)
        widest = high if high is not None else low
        if widest is not None and widest > 360 * MOST_TURNS:
            context.problem(
                "many-turns",
                mark,
                f"`{stage.text}` is more than {MOST_TURNS} turns in one stage",
                _hint_about_turns(stage.text, widest),
                severity="warning",
            )


def _hint_about_turns(text: str, widest: Fraction) -> str:
    """The hint for a large angle. If its last figure is a zero, that may be a degree sign that was misread."""
    meant = text.replace("0°", "°", 1) if text.endswith("0°") else ""
    if meant and widest / 10 <= 360 * MOST_TURNS:
        return f"Compare it with the source. If a degree sign was misread as 0, write `{meant}`"
    return "Compare the angle and its unit with the source"


def _check_total(tighten: Tighten, joint: Joint, context: ReadContext) -> None:
    """Report a fastener whose angles do not add up to the printed total."""
    found = wrong_total(tighten, joint)
    if found:
        node = context.nodes["total-angle", tighten.mark]
        context.problem("total-angle", node.mark, found, "Compare the stages and the total with the source")


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
