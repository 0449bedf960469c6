"""The key `tighten`: a joint and its stages."""

import re

from benchflow.procedure.keys.setup_keys import limit_dimension
from benchflow.procedure.model import (
    AngleStage,
    CheckStage,
    LoosenStage,
    Mark,
    Ref,
    Stage,
    Tighten,
    TorqueStage,
)
from benchflow.procedure.shapes.basic_shapes import FILLED_LINE, LABEL, EitherShape, ListShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import LimitShape, QuantityShape, report_quantity_error
from benchflow.procedure.shapes.reference_shapes import ReferenceShape
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode
from benchflow.quantity import Limit, Quantity, QuantityError, dimension_of, parse_quantity

_loosen = re.compile(r"\s*loosen\s+(?=\S)")

# --- stages -----------------------------------------------------------------------------------------


class _Stage(Shape[Stage]):
    """A stage written as a text: ``30 N·m``, ``+90°``, ``loosen 1 turn``."""

    noun = "a stage such as 30 N·m, +90° or loosen 1 turn"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> Stage | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        backwards = _loosen.match(found.text)
        start = backwards.end() if backwards else 0
        try:
            amount = parse_quantity(found.text[start:], dimension="angle" if backwards else None)
        except QuantityError as error:
            report_quantity_error(error, found, context, start)
            return None
        text = found.text.strip()
        if backwards:
            return _above_zero(LoosenStage(amount, text), amount, found.mark, context)
        kind = dimension_of(amount.unit)
        if kind == "torque":
            return _above_zero(TorqueStage(amount, text), amount, found.mark, context)
        if kind == "angle":
            return _above_zero(AngleStage(amount, text), amount, found.mark, context)
        context.problem(
            "wrong-dimension",
            found.mark,
            f"`{text[:40]}` is {f'a {kind}' if kind else 'a number without a unit'}, not a torque or an angle",
            f"Write {self.noun}",
        )
        return None

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string", "pattern": r"\S"}


def _above_zero(stage: Stage, amount: Quantity, mark: Mark, context: ReadContext) -> Stage | None:
    if amount.value > 0:
        return stage
    hint = "To turn back, write `loosen 90°`" if amount.value < 0 else "Delete the stage"
    context.problem("bad-quantity", mark, f"`{stage.text}` is not above zero", hint)
    return None


_TORQUE = Key("torque", QuantityShape("torque"), "The torque of this stage.", examples=("90 N·m",))
_ANGLE = Key("angle", QuantityShape("angle"), "The angle by which each fastener is turned further.", examples=("90°",))
_LOOSEN = Key(
    "loosen", QuantityShape("angle"), "The angle by which each fastener is turned back.", examples=("1 turn",)
)
_CHECK = Key(
    "check",
    LimitShape(None, "at least 100 N·m"),
    "The limit for checking each fastener: a torque, an angle, or a stretch.",
    examples=("at least 100 N·m", "0.13 .. 0.15 mm"),
)
_STRETCH = Key(
    "stretch",
    LimitShape("length", "0.13 .. 0.15 mm"),
    "A limit for the stretch, together with a `check` of torque. Both are measured and have to be within their limits.",
    examples=("0.13 .. 0.15 mm",),
)
_ONLY = Key("only", LABEL, "The group of fasteners that the stage is for; by default all of them.")


def _stage(fields: Fields) -> Stage | None:
    only = fields.get(_ONLY)
    torque, angle, loosen, check = fields.get(_TORQUE), fields.get(_ANGLE), fields.get(_LOOSEN), fields.get(_CHECK)
    if torque is not None:
        return _above_zero(TorqueStage(torque, torque.entered, only), torque, fields.at(_TORQUE), fields.context)
    if angle is not None:
        return _above_zero(AngleStage(angle, angle.entered, only), angle, fields.at(_ANGLE), fields.context)
    if loosen is not None:
        stage = LoosenStage(loosen, f"loosen {loosen.entered}", only)
        return _above_zero(stage, loosen, fields.at(_LOOSEN), fields.context)
    return None if check is None else _check_stage(check, only, fields)


def _check_stage(check: Limit, only: str | None, fields: Fields) -> CheckStage | None:
    kind, stretch = limit_dimension(check), fields.get(_STRETCH)
    if kind not in ("torque", "angle", "length"):
        what = f"a {kind}" if kind else "a number without a unit"
        message = f"`{check.text}` is {what}, but a check needs a torque, an angle or a stretch"
        fields.problem("wrong-dimension", _CHECK, message, "Write, for example, `check: at least 100 N·m`")
        return None
    if stretch is None:
        return CheckStage(check, f"check {check.text}", only)
    if kind != "torque":
        message = "`stretch` is possible only together with a `check` of torque"
        fields.problem("one-too-many", _STRETCH, message, f"To check only the stretch, write `check: {stretch.text}`")
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
        requires=((_STRETCH, _CHECK),),
    ),
)

_JOINT = Key("joint", ReferenceShape("joint", "a joint's name"), "The joint that is tightened.", required=True)
_STAGES = Key(
    "stages",
    ListShape(_STAGE, at_least=1),
    "The stages in order: a torque, an angle, `loosen 1 turn`, `{check: at least 100 N·m}`, "
    "`{torque: 90 N·m, only: long}`.",
    required=True,
    examples=(["30 N·m", "60 N·m", "+90°"],),
)
_TOTAL = Key(
    "total-angle", QuantityShape("angle"), "The printed sum of the angles; the program checks it.", examples=("180°",)
)
_DRAW_DOWN = Key(
    "draw-down",
    FILLED_LINE,
    "The way to draw the part down evenly before the first stage.",
    examples=("half a turn, middle first",),
)
_WITH = Key("with", ReferenceShape("instrument", "an instrument's name"), "The wrench to use.")


def _tighten(fields: Fields) -> Tighten:
    joint, instrument = fields.get(_JOINT), fields.get(_WITH)
    tighten = Tighten(
        joint.name if joint else "",
        fields.get_or(_STAGES, ()),
        fields.get(_TOTAL),
        fields.get_or(_DRAW_DOWN, ""),
        instrument.name if instrument else None,
        fields.node.mark,
    )
    fields.context.nodes["stages", tighten.mark] = fields.nodes.get("stages", fields.node)
    fields.context.nodes["total-angle", tighten.mark] = fields.nodes.get("total-angle", fields.node)
    return tighten


TIGHTEN = KeyedShape("tighten", "`tighten`", (_JOINT, _STAGES, _TOTAL, _DRAW_DOWN, _WITH), _tighten)
