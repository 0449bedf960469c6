"""Keys of the setup: options, places, state, interference, moves, kit, instruments, failures, follow-up, units."""

from typing import NamedTuple, cast, get_args

from benchflow.base.plaintext import with_article
from benchflow.procedure.keys.evidence_keys import FOUND, RESTARTS
from benchflow.procedure.keys.source_keys import SOURCE
from benchflow.procedure.model import (
    Caution,
    Failure,
    FollowUp,
    InstrumentNeed,
    KitItem,
    Move,
    Option,
    Ref,
    Rule,
    Signal,
    Variable,
)
from benchflow.procedure.shapes.asked_shapes import AskedText, FigureOrAskShape
from benchflow.procedure.shapes.basic_shapes import (
    LABEL,
    LINE,
    PARAGRAPH,
    BooleanShape,
    EitherShape,
    LabelShape,
    ListShape,
    MapShape,
    TextShape,
    TransformedShape,
    WordShape,
)
from benchflow.procedure.shapes.by_shapes import RESERVED
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import DimensionShape, DisplayUnitShape, LimitShape, QuantityShape
from benchflow.procedure.shapes.reference_shapes import NEEDS, NEVER, SETTINGS, WHEN, ReferenceShape
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode
from benchflow.quantity import dimension_of


def title_from_name(name: str) -> str:
    """The default title for a name: "Head gasket" for ``head-gasket``."""
    words = name.replace("-", " ").replace("_", " ").strip()
    return words[:1].upper() + words[1:]


# --- cautions ---------------------------------------------------------------------------------------


def cautions(filled: bool = False) -> Shape[tuple[Caution, ...]]:
    """The shape of a list of cautions. ``filled`` allows placeholders."""
    text = TextShape("the text of the caution", filled=filled)
    meanings = {
        "danger": "Death or serious injury will result if it is not avoided.",
        "warning": "Death or serious injury could result if it is not avoided.",
        "caution": "Minor injury or a damaged part could result if it is not avoided.",
        "notice": "No danger to people, but important to know before.",
    }
    keys = tuple(Key(word, text, meanings[word]) for word in get_args(Signal))

    def build(fields: Fields) -> Caution | None:
        for key in keys:
            found = fields.get(key)
            if found is not None:
                return Caution(cast(Signal, key.name), found)
        return None

    return ListShape(KeyedShape("caution", "a caution", keys, build, one_of=keys))


CAUTIONS_DESCRIPTION = (
    "Shown above the instruction: a signal word (danger, warning, caution, notice: ANSI Z535, ISO 3864) and a text."
)

# --- options and places -----------------------------------------------------------------------------


class _BranchName(LabelShape):
    """A choice of an option or a place. It is a key beside `by` and `else`, so it has neither of these names."""

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        text = super().read(node, context, name)
        if text not in RESERVED:
            return text
        message = f"`{text}` cannot be a choice or a place, because `{{by: ...}}` has a key with this name"
        context.problem("bad-name", node.mark, message, "Rename it")
        return None

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {**super().schema(definitions), "not": {"enum": sorted(RESERVED)}}


_BRANCH_NAME = _BranchName()
_ASK = Key("ask", LINE, "The question at the start of a job.")
_CHOICES = Key(
    "choices",
    ListShape(_BRANCH_NAME, at_least=1, distinct=True),
    "The possible answers, the usual one first.",
    required=True,
)


def _option(fields: Fields) -> Option:
    name = fields.name.name
    return Option(name, fields.get_or(_ASK, f"{title_from_name(name)}?"), fields.get_or(_CHOICES, ()), fields.mark)


OPTIONS = MapShape(KeyedShape("option", "an option", (_ASK, _CHOICES), _option), "options by name")
PLACES = MapShape(ListShape(_BRANCH_NAME, at_least=1, distinct=True), "sets of places by name")

# --- state ------------------------------------------------------------------------------------------


def _value_names(values: tuple[str, ...], node: YamlNode, name: Ref, context: ReadContext) -> dict[str, str]:
    return dict.fromkeys(values, "")


_VALUES = Key(
    "values",
    EitherShape(
        "a list of values, or values with their text for the bench",
        items=TransformedShape(ListShape(LABEL, at_least=1, distinct=True), _value_names),
        entries=MapShape(LINE, "values with their text", key=LABEL, at_least=1),
    ),
    "The possible values: a list, or each value with its text for the bench (at-deck: at the deck).",
    required=True,
    examples=(["at-deck", "down"],),
)
_START = Key(
    "start",
    LABEL,
    "The value at the start of a job: one of the values, or `ask` to ask the builder.",
    required=True,
)
_STATE_ASK = Key("ask", LINE, "The question for `start: ask`.")
_STATE_TITLE = Key("title", LINE, "The title for the bench.")
_STATE_EACH = Key(
    "each",
    ReferenceShape("places", "a set of places"),
    "The set of places with a variable each: `pushrod[2]` is the one of place 2, `pushrod[*]` means all of them. In an "
    "operation that is repeated over the same set, the plain name is the one of the same place.",
    examples=("cylinder",),
)


def _variable(fields: Fields) -> Variable:
    name = fields.name.name
    words = fields.get_or(_VALUES, {})
    start = fields.get(_START)
    if start == "ask":
        start = None
    elif start is not None:
        fields.context.mention("state-value", start, fields.at(_START), of=name)
    if "ask" in words:
        fields.problem(
            "bad-name", _VALUES, "`ask` cannot be a value, because `start: ask` asks the builder", "Rename the value"
        )
    return Variable(
        name,
        tuple(words),
        start,
        fields.get_or(_STATE_ASK, ""),
        fields.get_or(_STATE_TITLE, ""),
        {value: text for value, text in words.items() if text},
        fields.mark,
        fields.get_or(FOUND, ""),
        None if (each := fields.get(_STATE_EACH)) is None else each.name,
    )


STATE = MapShape(
    KeyedShape(
        "variable", "a state variable", (_VALUES, _START, _STATE_ASK, _STATE_TITLE, _STATE_EACH, FOUND), _variable
    ),
    "state variables by name",
)

_NEVER = Key(
    "never",
    NEVER,
    "The values that must not occur together: each variable with a value or a list of values.",
    required=True,
)
_RULE_BECAUSE = Key("because", LINE, "The reason: the damage or danger that the rule prevents.")


def _rule(fields: Fields) -> Rule:
    never = fields.get_or(_NEVER, {})
    because = fields.get(_RULE_BECAUSE)
    if not fields.wrote(_RULE_BECAUSE):
        fields.context.problem(
            "missing-because",
            fields.mark,
            "This rule gives no reason",
            "Write a reason with `because`. The builder sees it when the rule blocks something",
            "warning",
        )
    if because is None:
        combination = " and ".join(f"{name} {' or '.join(values)}" for name, values in never.items())
        because = f"{combination} must not occur together"
    return Rule(never, because, fields.mark)


INTERFERENCE = ListShape(KeyedShape("rule", "an interference rule", (_NEVER, _RULE_BECAUSE), _rule))

_MOVE_TITLE = Key("title", LINE, "The title of the move, on one line.")
_MOVE_DO = Key("do", PARAGRAPH, "The instruction.")
_MOVE_CAUTIONS = Key("cautions", cautions(), CAUTIONS_DESCRIPTION)
_MOVE_WHEN = Key("when", WHEN, "The choices of the options for which the move exists.")
_MOVE_NEEDS = Key("needs", NEEDS, "The state before it: each variable with a value or a list of values.")
_MOVE_DURING = Key("during", SETTINGS, "The state while it is made; it ends when the move is done.")
_MOVE_SETS = Key("sets", SETTINGS, "The state after it. A move that starts a clock again (`restarts`) needs none.")


def _move(fields: Fields) -> Move:
    return Move(
        fields.name.name,
        fields.get_or(_MOVE_TITLE, title_from_name(fields.name.name)),
        fields.get_or(_MOVE_DO, ""),
        fields.get_or(_MOVE_CAUTIONS, ()),
        fields.get_or(_MOVE_WHEN, {}),
        fields.get_or(_MOVE_NEEDS, {}),
        fields.get_or(_MOVE_SETS, {}),
        fields.mark,
        fields.get_or(_MOVE_DURING, {}),
        fields.get_or(RESTARTS, ()),
    )


MOVES = MapShape(
    KeyedShape(
        "move",
        "a move",
        (_MOVE_TITLE, _MOVE_DO, _MOVE_CAUTIONS, _MOVE_WHEN, _MOVE_NEEDS, _MOVE_DURING, _MOVE_SETS, RESTARTS),
        _move,
        some_of=(_MOVE_SETS, RESTARTS),
        hints={"after": "A move has no `after`, because it can be made whenever its `needs` are met. Use `needs`"},
    ),
    "moves by name",
)

# --- kit and instruments ----------------------------------------------------------------------------

_KIT_TITLE = Key("title", LINE, "The title.")
_KIT_PN = Key("pn", LINE, "The part number.")
_KIT_QUANTITY = Key("quantity", LINE, "The number or amount that is needed.")
_KIT_LOT = Key("lot", WordShape("required"), "`required` asks for its lot or batch number where it is used.")
_KIT_DISCARD = Key("discard", BooleanShape(), "true if it can be used only once and is thrown away when it is removed.")
_KIT_LIFE = Key(
    "life", QuantityShape("time"), "The time for which it can be used after it was opened.", examples=("30 d",)
)


class _Supplier(NamedTuple):
    """Who supplies a part: a name, or the answer to an option."""

    name: str = ""
    option: str = ""


_SUPPLIER_BY = Key(
    "by", ReferenceShape("option", "an option's name"), "The option whose answer is the supplier.", required=True
)
_KIT_FROM = Key(
    "from",
    EitherShape(
        "who supplies it, or `{by: an option}`",
        text=TransformedShape(LINE, lambda text, node, name, context: _Supplier(text)),
        entries=KeyedShape(
            "supplier",
            "the supplier",
            (_SUPPLIER_BY,),
            lambda fields: None if (by := fields.get(_SUPPLIER_BY)) is None else _Supplier(option=by.name),
        ),
    ),
    "Who supplies it, such as customer or machine shop; `shop`, or no `from`, means the shop. `{by: cams-from}` takes "
    "the answer to the option `cams-from`. The build sheet lists the parts of the customer apart.",
    examples=("customer", {"by": "cams-from"}),
)
_KIT = (_KIT_TITLE, _KIT_PN, _KIT_QUANTITY, _KIT_LOT, _KIT_DISCARD, _KIT_LIFE, _KIT_FROM, SOURCE)


def _kit_items(kind: str) -> Shape[dict[str, KitItem]]:
    part = kind == "part"

    def build(fields: Fields) -> KitItem:
        return KitItem(
            fields.name.name,
            "part" if part else "consumable",
            fields.get_or(_KIT_TITLE, title_from_name(fields.name.name)),
            fields.get_or(_KIT_QUANTITY, ""),
            fields.wrote(_KIT_LOT),
            fields.get_or(_KIT_DISCARD, False),
            fields.get(_KIT_LIFE),
            fields.mark,
            fields.get_or(_KIT_PN, ""),
            *fields.get_or(_KIT_FROM, _Supplier()),
            source=fields.get_or(SOURCE, ""),
        )

    def titled(title: str, node: YamlNode, name: Ref, context: ReadContext) -> KitItem:
        return KitItem(name.name, "part" if part else "consumable", title, mark=name.mark)

    noun = f"the {kind}'s title, or its keys"
    item = EitherShape(
        noun, text=TransformedShape(LINE, titled), entries=KeyedShape("kit-item", "a part or consumable", _KIT, build)
    )
    return MapShape(item, f"{kind}s by name")


_PARTS = Key("parts", _kit_items("part"), "Parts by name: a title, or keys.")
_CONSUMABLES = Key(
    "consumables", _kit_items("consumable"), "Sealants, oils, cloths and so on by name: a title, or keys."
)


def _kit(fields: Fields) -> tuple[KitItem, ...]:
    return (*fields.get_or(_PARTS, {}).values(), *fields.get_or(_CONSUMABLES, {}).values())


KIT = KeyedShape("kit", "the kit", (_PARTS, _CONSUMABLES), _kit)

_KIND = Key(
    "kind", LINE, "The kind of measurement, as in the shop's register: torque, length, angle, ...", required=True
)
_INSTRUMENT_TITLE = Key("title", LINE, "The title.")
_COVERS = Key(
    "covers",
    FigureOrAskShape(LimitShape(None, "20 .. 120 N·m")),
    "The measuring range that is needed. `ask` if it is still to be filled in: the bench then asks for it, with its "
    "source, before the instrument can be used.",
    examples=("20 .. 120 N·m", "ask"),
)
_UNCERTAINTY = Key(
    "uncertainty",
    LimitShape(None, "at most 4 %", difference=True),
    "The largest accepted expanded uncertainty: a percentage of the reading, or a quantity.",
    examples=("at most 4 %",),
)
_UNFIT = Key(
    "unfit",
    WordShape("refuse", "warn"),
    "The reaction to an unfit instrument: `refuse` (the default) or `warn`. A setting outside the range of a torque "
    "wrench is always refused.",
)


def _instrument(fields: Fields) -> InstrumentNeed:
    written, uncertainty = fields.get(_COVERS), fields.get(_UNCERTAINTY)
    covers, asked = (None, written.mark) if isinstance(written, AskedText) else (written, None)
    if covers is not None and uncertainty is not None:
        covered, uncertain = limit_dimension(covers), limit_dimension(uncertainty)
        if uncertain not in ("fraction", covered):
            fields.problem(
                "wrong-dimension",
                _UNCERTAINTY,
                f"The uncertainty is {with_article(uncertain)}, but the instrument covers {with_article(covered)}",
                "Write both in units of the same kind, or the uncertainty in %",
            )
    return InstrumentNeed(
        fields.name.name,
        fields.get_or(_KIND, ""),
        fields.get_or(_INSTRUMENT_TITLE, title_from_name(fields.name.name)),
        covers,
        uncertainty,
        "warn" if fields.get(_UNFIT) == "warn" else "refuse",
        fields.mark,
        asked,
        fields.get_or(SOURCE, ""),
    )


def limit_dimension(limit: object) -> str:
    """The dimension of a limit; ``""`` if it has no unit."""
    end = getattr(limit, "low", None) or getattr(limit, "high", None)
    return dimension_of(end.unit) if end is not None else ""


INSTRUMENTS = MapShape(
    KeyedShape(
        "instrument",
        "an instrument",
        (_KIND, _INSTRUMENT_TITLE, _COVERS, _UNCERTAINTY, _UNFIT, SOURCE),
        _instrument,
    ),
    "instruments by name",
)

# --- failures and follow-up -------------------------------------------------------------------------


_FAILURE_TEXT = Key("text", LINE, "The complaint, in the customer's words.", required=True)
_FAILURE_WORDS = Key(
    "words",
    ListShape(LINE, single=True),
    "Other words that a customer may use for it. The review knows the usual ones, such as leaks, knocks, smokes.",
    examples=("puddle under the car",),
)


def _failure(fields: Fields) -> Failure:
    return Failure(
        fields.name.name, fields.get_or(_FAILURE_TEXT, ""), fields.mark, words=fields.get_or(_FAILURE_WORDS, ())
    )


def _plain_failure(text: str, node: YamlNode, name: Ref, context: ReadContext) -> Failure:
    return Failure(name.name, text, name.mark)


FAILURES = MapShape(
    EitherShape(
        "the complaint, or its keys",
        text=TransformedShape(LINE, _plain_failure),
        entries=KeyedShape("failure", "a complaint", (_FAILURE_TEXT, _FAILURE_WORDS), _failure),
    ),
    "complaints by name",
)

_FOLLOW_TITLE = Key("title", LINE, "The work to do.", required=True)
_DUE = Key("due", QuantityShape("time"), "The time until it is due, from the end of the build.", examples=("14 d",))
_OR = Key("or", LINE, "Another due date, whichever comes first.", examples=("500 km",))


def _follow_up(fields: Fields) -> FollowUp:
    return FollowUp(fields.get_or(_FOLLOW_TITLE, ""), fields.get(_DUE), fields.get_or(_OR, ""), fields.mark)


FOLLOW_UP = ListShape(KeyedShape("follow-up", "a follow-up", (_FOLLOW_TITLE, _DUE, _OR), _follow_up))
UNITS = MapShape(DisplayUnitShape(), "dimensions with the unit that the screen shows", key=DimensionShape())


def read_names_for_by(root: YamlNode | None, context: ReadContext) -> None:
    """Read `places` and `options` before everything else: `readings` can name a set of places, and `by` both."""
    if not isinstance(root, YamlMapping):
        return
    for key, value in root.pairs:
        if key.text == "places":
            context.place_sets = PLACES.read(value, context) or {}
        elif key.text == "options":
            options = OPTIONS.read(value, context) or {}
            context.option_choices = {option.name: option.choices for option in options.values()}
