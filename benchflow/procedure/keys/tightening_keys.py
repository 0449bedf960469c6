"""How a joint is tightened: the key `tighten`, and what can be wrong with its stages."""

import re
from collections.abc import Iterator
from decimal import Decimal

from benchflow.procedure.keys.setup_keys import limit_dimension
from benchflow.procedure.model import (
    AngleStage,
    CheckStage,
    Joint,
    LoosenStage,
    Mark,
    Ref,
    Stage,
    Tighten,
    TorqueStage,
)
from benchflow.procedure.problems import hint_for
from benchflow.procedure.shapes.basic_shapes import FILLED_LINE, LABEL, EitherShape, ListShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import LimitShape, QuantityShape, report
from benchflow.procedure.shapes.reference_shapes import ReferenceShape
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlSequence
from benchflow.quantity import Limit, Quantity, QuantityError, base, convert, dimension_of, parse_quantity, show

_loosen = re.compile(r"\s*loosen\s+(?=\S)")

# --- stages -----------------------------------------------------------------------------------------


class _Stage(Shape[Stage]):
    """A stage in one line: ``30 N·m``, ``+90°``, ``loosen 1 turn``."""

    noun = "a stage such as 30 N·m, +90° or loosen 1 turn"

    def read(self, node: YamlNode, notes: ReadContext, name: Ref = NOWHERE) -> Stage | None:
        found = scalar(node, self.noun, notes)
        if found is None:
            return None
        backwards = _loosen.match(found.text)
        start = backwards.end() if backwards else 0
        try:
            amount = parse_quantity(found.text[start:], dimension="angle" if backwards else None)
        except QuantityError as error:
            report(error, found, notes, start)
            return None
        text = found.text.strip()
        if backwards:
            return _above_zero(LoosenStage(amount, text), amount, found.mark, notes)
        kind = dimension_of(amount.unit)
        if kind == "torque":
            return _above_zero(TorqueStage(amount, text), amount, found.mark, notes)
        if kind == "angle":
            return _above_zero(AngleStage(amount, text), amount, found.mark, notes)
        notes.problem(
            "wrong-dimension",
            found.mark,
            f"`{text[:40]}` is {'a bare number' if not kind else f'a {kind}'}; a stage is a torque or an angle",
            f"write {self.noun}",
        )
        return None

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string", "pattern": r"\S"}


def _above_zero(stage: Stage, amount: Quantity, mark: Mark, notes: ReadContext) -> Stage | None:
    if amount.value > 0:
        return stage
    hint = "to turn back, write `loosen 90°`" if amount.value < 0 else "leave the stage out"
    notes.problem("bad-quantity", mark, f"`{stage.text}` is not above zero", hint)
    return None


_TORQUE = Key("torque", QuantityShape("torque"), "The torque of this stage.", examples=("90 N·m",))
_ANGLE = Key("angle", QuantityShape("angle"), "The angle that each is turned on.", examples=("90°",))
_LOOSEN = Key("loosen", QuantityShape("angle"), "How far each is turned back.", examples=("1 turn",))
_CHECK = Key(
    "check",
    LimitShape(None, "at least 100 N·m"),
    "Each is tried and has to be within this: a torque, an angle, or how far it has stretched.",
    examples=("at least 100 N·m", "0.13 .. 0.15 mm"),
)
_STRETCH = Key(
    "stretch",
    LimitShape("length", "0.13 .. 0.15 mm"),
    "Beside `check` with a torque: how far each has to have stretched. Both are read, and both have to be within.",
    examples=("0.13 .. 0.15 mm",),
)
_ONLY = Key("only", LABEL, "Only for this group of the joint's fasteners.")


def _stage(fields: Fields) -> Stage | None:
    only = fields.get(_ONLY)
    torque, angle, loosen, check = fields.get(_TORQUE), fields.get(_ANGLE), fields.get(_LOOSEN), fields.get(_CHECK)
    if torque is not None:
        return _above_zero(TorqueStage(torque, torque.entered, only), torque, fields.at(_TORQUE), fields.notes)
    if angle is not None:
        return _above_zero(AngleStage(angle, angle.entered, only), angle, fields.at(_ANGLE), fields.notes)
    if loosen is not None:
        stage = LoosenStage(loosen, f"loosen {loosen.entered}", only)
        return _above_zero(stage, loosen, fields.at(_LOOSEN), fields.notes)
    return None if check is None else _check_stage(check, only, fields)


def _check_stage(check: Limit, only: str | None, fields: Fields) -> CheckStage | None:
    kind, stretch = limit_dimension(check), fields.get(_STRETCH)
    if kind not in ("torque", "angle", "length"):
        what = f"a {kind}" if kind else "a bare number"
        message = f"`{check.text}` is {what}; what is tried is a torque, an angle or a stretch"
        fields.problem("wrong-dimension", _CHECK, message, "such as at least 100 N·m")
        return None
    if stretch is None:
        return CheckStage(check, f"check {check.text}", only)
    if kind != "torque":
        message = "`stretch` stands beside a torque that is tried"
        fields.problem("one-too-many", _STRETCH, message, f"write `check: {stretch.text}` for the stretch alone")
        return None
    return CheckStage(check, f"check {check.text}, stretch {stretch.text}", only, stretch)


_STAGE: Shape[Stage] = EitherShape(
    _Stage.noun,
    text=_Stage(),
    entries=KeyedShape(
        "stage",
        "a stage",
        (_TORQUE, _ANGLE, _LOOSEN, _CHECK, _STRETCH, _ONLY),
        _stage,
        one_of=(_TORQUE, _ANGLE, _LOOSEN, _CHECK),
        beside=((_STRETCH, _CHECK),),
    ),
)

_JOINT = Key("joint", ReferenceShape("joint", "a joint's name"), "The joint that is tightened.", required=True)
_STAGES = Key(
    "stages",
    ListShape(_STAGE, at_least=1),
    "Stage by stage: torques, angles, `loosen 1 turn`, `{check: at least 100 N·m}`, `{torque: 90 N·m, only: long}`.",
    required=True,
    examples=(["30 N·m", "60 N·m", "+90°"],),
)
_TOTAL = Key("total-angle", QuantityShape("angle"), "The sum of the angles, as printed; checked.", examples=("180°",))
_DRAW_DOWN = Key(
    "draw-down", FILLED_LINE, "For parts that must come down level: how.", examples=("half a turn, middle first",)
)
_WITH = Key("with", ReferenceShape("instrument", "an instrument's name"), "The wrench it is tightened with.")


def _tighten(fields: Fields) -> Tighten:
    joint, instrument = fields.get(_JOINT), fields.get(_WITH)
    tighten = Tighten(
        joint.name if joint else "",
        fields.has(_STAGES, ()),
        fields.get(_TOTAL),
        fields.has(_DRAW_DOWN, ""),
        instrument.name if instrument else None,
        fields.node.mark,
    )
    fields.notes.nodes["stages", tighten.mark] = fields.nodes.get("stages", fields.node)
    fields.notes.nodes["total-angle", tighten.mark] = fields.nodes.get("total-angle", fields.node)
    return tighten


TIGHTEN = KeyedShape("tighten", "`tighten`", (_JOINT, _STAGES, _TOTAL, _DRAW_DOWN, _WITH), _tighten)

# --- checks that need the joint ---------------------------------------------------------------------


def check_tighten(tighten: Tighten, joint: Joint, notes: ReadContext) -> None:
    """What is wrong with the stages taken together, fastener by fastener."""
    node = notes.nodes.get(("stages", tighten.mark))
    items = node.items if isinstance(node, YamlSequence) else []
    marks = [item.mark for item in items]
    if not marks or len(marks) != len(tighten.stages):
        return  # a stage could not be read; what stands without it would only mislead
    if not _groups_known(tighten, joint, items, notes):
        return
    _check_order(tighten, joint, marks, notes)
    _check_total(tighten, joint, notes)
    _check_all_tightened(tighten, joint, notes)


def _groups_known(tighten: Tighten, joint: Joint, items: list[YamlNode], notes: ReadContext) -> bool:
    known = True
    for stage, node in zip(tighten.stages, items, strict=True):
        if stage.only is None or stage.only in joint.groups:
            continue
        written = (
            [value for key, value in node.pairs if key.text == "only"] if isinstance(node, YamlMapping) else [node]
        )
        notes.problem(
            "unknown-name",
            written[0].mark,
            f"the joint `{joint.id}` has no group `{stage.only}`",
            hint_for(stage.only, joint.groups, "it has no `groups` at all"),
        )
        known = False
    return known


def _members(stage: Stage, joint: Joint) -> tuple[int, ...]:
    return joint.groups[stage.only] if stage.only is not None else tuple(range(1, joint.count + 1))


def _stages_of(fastener: int, tighten: Tighten, joint: Joint) -> Iterator[tuple[int, Stage]]:
    for index, stage in enumerate(tighten.stages):
        if fastener in _members(stage, joint):
            yield index, stage


def _check_order(tighten: Tighten, joint: Joint, marks: list[Mark], notes: ReadContext) -> None:
    """An angle says nothing before the fastener is seated by a torque, and a torque does nothing below the last."""
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
                highest = None  # what it stands at is not known any more
    for index in sorted(unseated):
        notes.problem(
            "stage-order",
            marks[index],
            f"`{tighten.stages[index].text}` comes before any torque has seated the fastener",
            "put the seating torque before it",
        )
    for index in sorted(slack - unseated):
        notes.problem(
            "stage-order",
            marks[index],
            f"`{tighten.stages[index].text}` comes after loosening, with no torque in between to seat it again",
            "put the seating torque before it",
            severity="warning",
        )
    for index, (torque, highest) in sorted(lower.items()):
        notes.problem(
            "falling-torque",
            marks[index],
            f"{torque.entered} after {highest.entered} turns nothing: the fastener is tighter already",
            "is a `loosen` missing before it?",
            severity="warning",
        )


def _check_total(tighten: Tighten, joint: Joint, notes: ReadContext) -> None:
    """The angles of each fastener make the printed total."""
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
    node = notes.nodes["total-angle", tighten.mark]
    fastener, total = wrong or (1, Decimal(0))
    whose = "the angles" if len(set(sums.values())) <= 1 else f"the angles of fastener {fastener}"
    made = show(Quantity(total, "°", ""))
    notes.problem(
        "total-angle",
        node.mark,
        f"{whose} make {made} together, and {tighten.total_angle.entered} is printed",
        "look both up again",
    )


def _check_all_tightened(tighten: Tighten, joint: Joint, notes: ReadContext) -> None:
    left = [n for n in range(1, joint.count + 1) if not any(True for _ in _stages_of(n, tighten, joint))]
    if left:
        numbers = ", ".join(map(str, left[:8])) + (", ..." if len(left) > 8 else "")
        notes.problem(
            "never-tightened",
            notes.nodes["stages", tighten.mark].mark,
            f"no stage is for fastener {numbers}",
            "see the groups of the joint",
            severity="warning",
        )
