"""The key `tighten`: a joint and its stages."""

import re
from collections.abc import Iterator
from typing import NamedTuple

from benchflow.base.plaintext import with_article
from benchflow.procedure.keys.remedy_keys import REMEDIES, check_stops
from benchflow.procedure.keys.source_keys import OPERATION_SOURCE
from benchflow.procedure.keys.tolerance_keys import TOLERANCE
from benchflow.procedure.model import (
    NO_TOLERANCE,
    AngleStage,
    CalculatedValue,
    CheckStage,
    HandStage,
    LoosenStage,
    OpenStage,
    RecordedValue,
    Ref,
    Remedy,
    Stage,
    Tighten,
    TorqueStage,
)
from benchflow.procedure.shapes.basic_shapes import FILLED_LINE, LABEL, EitherShape, ListShape
from benchflow.procedure.shapes.by_shapes import ByShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import ASK, LimitShape, report_quantity_error
from benchflow.procedure.shapes.reference_shapes import ReferenceShape
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar
from benchflow.procedure.stage_figures import StageFigure, parse_figure
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode, YamlScalar
from benchflow.quantity import (
    Limit,
    QuantityError,
    base,
    dimension_of,
)

_loosen = re.compile(r"\s*loosen\s+(?=\S)")
_BY_HAND = re.compile(r"^(?!.*[0-9]).*\b(?:hand|finger)", re.IGNORECASE)

# --- stages -----------------------------------------------------------------------------------------


class _OpenFigure(NamedTuple):
    """A torque or an angle that is not in the file: `ask`, or a ``formula``. ``written`` is where it is."""

    formula: str
    written: YamlScalar


class _FigureShape(Shape[StageFigure]):
    """The figure of a stage, of one dimension (``None``: any). ``above_zero`` refuses a quantity that is not."""

    def __init__(self, dimension: str | None, example: str, *, above_zero: bool = True) -> None:
        self.dimension, self.above_zero = dimension, above_zero
        self.noun = f"a quantity or a limit such as {example}"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> StageFigure | None:
        written = scalar(node, self.noun, context)
        if written is None:
            return None
        return _read_figure(written, context, self.dimension, above_zero=self.above_zero)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string", "pattern": r"\S"}


def _read_figure(
    written: YamlScalar, context: ReadContext, dimension: str | None, start: int = 0, *, above_zero: bool = True
) -> StageFigure | None:
    """Read the text from index ``start``: a quantity, or else a limit."""
    try:
        figure = parse_figure(written.text[start:], dimension)
    except QuantityError as error:
        report_quantity_error(error, written, context, start)
        return None
    if above_zero and not figure.above_zero:
        lowest = figure.quantity if figure.limit is None or figure.limit.low is None else figure.limit.low
        hint = "To turn back, write `loosen 90°`" if base(lowest) < 0 else "Delete the stage"
        context.problem("bad-quantity", written.mark, f"`{written.text.strip()}` is not above zero", hint)
        return None
    return figure


class _AngleShape(Shape[StageFigure | _OpenFigure]):
    """The angle of a stage: a figure, or `ask`."""

    noun = "an angle or a limit such as 90°, or `ask`"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> StageFigure | _OpenFigure | None:
        written = scalar(node, self.noun, context)
        if written is None:
            return None
        return _OpenFigure("", written) if written.text.strip() == ASK else _read_figure(written, context, "angle")

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string", "pattern": r"\S"}


class _TorqueShape(Shape[StageFigure | _OpenFigure]):
    """The torque of a stage: a figure, a formula of recorded values, or `ask`."""

    noun = "a torque or a limit such as 90 N·m, a formula such as breakaway + 50 in-lb, or `ask`"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> StageFigure | _OpenFigure | None:
        written = scalar(node, self.noun, context)
        if written is None:
            return None
        if written.text.strip() == ASK:
            return _OpenFigure("", written)
        return (
            _OpenFigure(written.text.strip(), written)
            if _is_formula(written.text)
            else _read_figure(written, context, "torque")
        )

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string", "pattern": r"\S"}


def _is_formula(text: str) -> bool:
    """True if the text is a formula of values, and no figure."""
    from benchflow.procedure.formula import FormulaError, names, parse_formula  # late: few files have such a stage

    try:
        parse_figure(text, None)
    except QuantityError:
        try:
            return bool(names(parse_formula(text)))
        except FormulaError:
            return False
    return False


class _Stage(Shape[Stage]):
    """A stage written as a text: ``30 N·m``, ``12 .. 15 lb-ft``, ``+90°``, ``loosen 1 turn``, ``by hand``."""

    noun = "a stage such as 30 N·m, +90° or loosen 1 turn"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> Stage | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        plain = " ".join(found.text.split())
        if plain in ("loosen", "by hand"):
            return LoosenStage(None, plain) if plain == "loosen" else HandStage(plain)
        if plain == ASK:
            context.problem(
                "bad-quantity",
                found.mark,
                "`ask` alone does not say what to ask",
                "Write `{torque: ask}`. For an angle, write `{angle: ask}`",
            )
            return None
        if _BY_HAND.search(plain):
            context.problem("bad-quantity", found.mark, f"`{plain[:40]}` is not a stage", "Write `by hand`")
            return None
        backwards = _loosen.match(found.text)
        figure = _read_figure(found, context, "angle" if backwards else None, backwards.end() if backwards else 0)
        if figure is None:
            return None
        text = found.text.strip()
        if backwards:
            return LoosenStage(figure.quantity, text, band=figure.limit)
        kind = dimension_of(figure.quantity.unit)
        if kind == "torque":
            return TorqueStage(figure.quantity, text, band=figure.limit)
        if kind == "angle":
            return AngleStage(figure.quantity, text, band=figure.limit)
        context.problem(
            "wrong-dimension",
            found.mark,
            f"`{text[:40]}` is {with_article(kind) if kind else 'a number without a unit'}, not a torque or an angle",
            f"Write {self.noun}",
        )
        return None

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string", "pattern": r"\S"}


_TORQUE = Key(
    "torque",
    ByShape("torque-figure", _TorqueShape()),
    "The torque of this stage: a quantity, a limit, or a formula of recorded values. `ask` if the figure is not "
    "printed: it is then entered at the bench, with its source, and the bench proposes none.",
    examples=("90 N·m", "12 .. 15 lb-ft", "40 ± 4 N·m", "breakaway + 50 in-lb", "ask"),
)
_ANGLE = Key(
    "angle",
    ByShape("further-angle", _AngleShape()),
    "The angle by which each fastener is turned further: a quantity, or a limit. `ask` if it is still to be filled in.",
    examples=("90°", "60 .. 65°", "ask"),
)
_LOOSEN = Key(
    "loosen",
    ByShape("angle-figure", _FigureShape("angle", "1 turn")),
    "The angle by which each fastener is turned back: a quantity, or a limit.",
    examples=("1 turn", "60 .. 90°"),
)
_CHECK = Key(
    "check",
    ByShape("check-figure", _FigureShape(None, "at least 100 N·m", above_zero=False)),
    "The limit for checking each fastener: a torque, an angle, or a stretch. One quantity gets the tolerance.",
    examples=("at least 100 N·m", "0.13 .. 0.15 mm", "100 N·m"),
)
_STRETCH = Key(
    "stretch",
    ByShape("stretch-figure", LimitShape("length", "0.13 .. 0.15 mm")),
    "A limit for the stretch, together with a `check` of torque. Both are measured and have to be within their limits.",
    examples=("0.13 .. 0.15 mm",),
)
_ONLY = Key("only", LABEL, "The group of fasteners that the stage is for; by default all of them.")


_BELOW = Key("below", REMEDIES, "Remedies for a fastener that is too low in this stage, in this order.")
_ABOVE = Key("above", REMEDIES, "Remedies for a fastener that is too high in this stage, in this order.")


_STAGE_SOURCE = Key(
    "source",
    OPERATION_SOURCE.shape,
    "Where the figure of this stage comes from, if not from the source of all stages.",
    examples=("bulletin p. 2",),
)


def _stage(fields: Fields) -> Stage | None:
    check_stops(fields, _BELOW, _ABOVE)
    only, source = fields.get(_ONLY), fields.get_or(_STAGE_SOURCE, "")
    torque, angle, loosen, check = fields.get(_TORQUE), fields.get(_ANGLE), fields.get(_LOOSEN), fields.get(_CHECK)
    if isinstance(torque, _OpenFigure):
        text = torque.formula or "torque not printed"
        fields.context.nodes["is", torque.written.mark] = torque.written
        return OpenStage(text, torque.formula, only, *_remedies(fields), torque.written.mark, source=source)
    if torque is not None:
        return TorqueStage(torque.quantity, torque.text, only, torque.limit, *_remedies(fields), source)
    if isinstance(angle, _OpenFigure):
        return OpenStage("angle not printed", "", only, *_remedies(fields), angle.written.mark, "angle", source)
    if angle is not None:
        return AngleStage(angle.quantity, angle.text, only, angle.limit, *_remedies(fields), source)
    if loosen is not None:
        return LoosenStage(loosen.quantity, f"loosen {loosen.text}", only, loosen.limit, *_remedies(fields), source)
    return None if check is None else _check_stage(check, only, fields)


def _remedies(fields: Fields) -> tuple[tuple[Remedy, ...], tuple[Remedy, ...]]:
    return fields.get_or(_BELOW, ()), fields.get_or(_ABOVE, ())


def _check_stage(check: StageFigure, only: str | None, fields: Fields) -> CheckStage | None:
    kind, stretch, text = dimension_of(check.quantity.unit), fields.get(_STRETCH), check.text
    source = fields.get_or(_STAGE_SOURCE, "")
    if kind not in ("torque", "angle", "length"):
        what = with_article(kind) if kind else "a number without a unit"
        message = f"`{text}` is {what}, but a check needs a torque, an angle or a stretch"
        fields.problem("wrong-dimension", _CHECK, message, "Write, for example, `check: at least 100 N·m`")
        return None
    nominal = check.quantity if check.limit is None else None
    limit = check.limit or Limit(check.quantity, check.quantity, text)
    if stretch is None:
        return CheckStage(limit, f"check {text}", only, None, nominal, *_remedies(fields), source)
    if kind != "torque":
        message = "`stretch` is possible only together with a `check` of torque"
        fields.problem("one-too-many", _STRETCH, message, f"To check only the stretch, write `check: {stretch.text}`")
        return None
    text = f"check {text}, stretch {stretch.text}"
    return CheckStage(limit, text, only, stretch, nominal, *_remedies(fields), source)


_PLAIN_STAGE: Shape[Stage] = EitherShape(
    _Stage.noun,
    text=_Stage(),
    entries=KeyedShape(
        "stage",
        "a stage",
        (_TORQUE, _ANGLE, _LOOSEN, _CHECK, _STRETCH, _ONLY, _BELOW, _ABOVE, _STAGE_SOURCE),
        _stage,
        one_of=(_TORQUE, _ANGLE, _LOOSEN, _CHECK),
        requires=((_STRETCH, _CHECK),),
    ),
)

_STAGE = ByShape("stage", _PLAIN_STAGE)

_JOINT = Key("joint", ReferenceShape("joint", "a joint's name"), "The joint that is tightened.", required=True)
_STAGES = Key(
    "stages",
    ByShape("stages", ListShape(_STAGE, at_least=1)),
    "The stages in order: a torque, an angle, `loosen 1 turn`, `{check: at least 100 N·m}`, "
    "`{torque: 90 N·m, only: long}`. A figure is a quantity or a limit. `loosen` alone means until the fastener "
    "carries nothing; `by hand` seats it. A tick without a value counts as done, also after one that was too low; only "
    "a check needs a value or an answer.",
    required=True,
    examples=(["30 N·m", "60 N·m", "+90°"], ["by hand", "12 .. 15 lb-ft", "+60 .. 65°"]),
)
_TOTAL = Key(
    "total-angle",
    ByShape("angle-figure", _FigureShape("angle", "180°")),
    "The printed sum of the angles; the program checks it. A quantity lies within the sums of the angles, a limit has "
    "the sums as its ends.",
    examples=("180°", "120 .. 130°"),
)
_TOLERANCE = Key(
    "tolerance",
    ByShape("tolerance", TOLERANCE),
    "How far a reading may be from a stage that is one quantity. It replaces the joint's. "
    "Without any, 6 % of a torque and 5° of an angle.",
    examples=("4 %", "2 N·m", {"torque": "4 %", "angle": "3°"}),
)
_DRAW_DOWN = Key(
    "draw-down",
    FILLED_LINE,
    "The way to draw the part down evenly before the first stage. Entering its turns is optional: without one, the "
    "first stage can begin. After a turn, “all seated” has to be confirmed first.",
    examples=("half a turn, middle first",),
)
_WITH = Key("with", ByShape("wrench", ReferenceShape("instrument", "an instrument's name")), "The wrench to use.")


def _tighten(fields: Fields) -> Tighten:
    joint, instrument, total = fields.get(_JOINT), fields.get(_WITH), fields.get(_TOTAL)
    tighten = Tighten(
        joint.name if joint else "",
        fields.get_or(_STAGES, ()),
        total.quantity if total else None,
        fields.get_or(_DRAW_DOWN, ""),
        instrument.name if instrument else None,
        fields.node.mark,
        fields.get_or(_TOLERANCE, NO_TOLERANCE),
        total.limit if total else None,
        fields.get_or(OPERATION_SOURCE, ""),
    )
    fields.context.nodes["stages", tighten.mark] = fields.nodes.get("stages", fields.node)
    fields.context.nodes["tolerance", tighten.mark] = fields.nodes.get("tolerance", fields.node)
    fields.context.nodes["total-angle", tighten.mark] = fields.nodes.get("total-angle", fields.node)
    return tighten


TIGHTEN = KeyedShape(
    "tighten",
    "`tighten`",
    (_JOINT, _STAGES, _TOTAL, _TOLERANCE, _DRAW_DOWN, _WITH, OPERATION_SOURCE),
    _tighten,
)


def stage_torques(
    operation: str, record: tuple[RecordedValue, ...], tighten: Tighten | None
) -> Iterator[CalculatedValue]:
    """The calculated value of each stage whose torque is a formula. Its name has spaces, so no formula can name it."""
    if tighten is None:
        return
    for number, stage in enumerate(tighten.stages, 1):
        if isinstance(stage, OpenStage) and stage.formula:
            yield CalculatedValue(
                f"{operation} stage {number}",
                stage.formula,
                _unit_of_torque(stage.formula, record),
                "torque",
                decision="simple",
                title=f"Torque of stage {number}",
                mark=stage.mark,
                stage=number,
                source=stage.source or tighten.source,
            )


def _unit_of_torque(formula: str, record: tuple[RecordedValue, ...]) -> str:
    """The unit in which a calculated torque is shown: of the first torque in its formula, else N·m."""
    from benchflow.procedure.formula import parse_formula  # late: few files have such a stage
    from benchflow.procedure.formula.expression import Constant, NameNode, walk

    units = {value.name: value.unit for value in record}
    for node in walk(parse_formula(formula).root):
        unit = units.get(node.name, "") if isinstance(node, NameNode) else ""
        unit = node.unit if isinstance(node, Constant) else unit
        if dimension_of(unit) == "torque":
            return unit
    return "N·m"
