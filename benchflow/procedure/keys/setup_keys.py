"""What stands at the head of a procedure: options, places, state, rules, moves, kit, instruments, failures."""

from typing import cast, get_args

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
from benchflow.procedure.shapes.basic_shapes import (
    LABEL,
    LINE,
    PARAGRAPH,
    BooleanShape,
    EitherShape,
    ListShape,
    MapShape,
    TextShape,
    TransformedShape,
    WordShape,
)
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import DimensionShape, DisplayUnitShape, LimitShape, QuantityShape
from benchflow.procedure.shapes.reference_shapes import NEEDS, NEVER, SETTINGS, WHEN
from benchflow.procedure.shapes.shape_base import ReadContext, Shape
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode
from benchflow.quantity import dimension_of


def spoken(name: str) -> str:
    """A name as words, where the author gave none: ``head-gasket`` is "Head gasket"."""
    words = name.replace("-", " ").replace("_", " ").strip()
    return words[:1].upper() + words[1:]


# --- cautions ---------------------------------------------------------------------------------------


def cautions(filled: bool = False) -> Shape[tuple[Caution, ...]]:
    """A list of cautions, each a signal word with its text. ``filled`` under an operation."""
    text = TextShape("the text of the caution", filled=filled)
    meanings = {
        "danger": "Will kill or maim if it is not avoided.",
        "warning": "Could kill or maim if it is not avoided.",
        "caution": "Could hurt somebody, or ruin a part, if it is not avoided.",
        "notice": "No danger to anybody, but to be known beforehand.",
    }
    keys = tuple(Key(word, text, meanings[word]) for word in get_args(Signal))

    def build(fields: Fields) -> Caution | None:
        for key in keys:
            said = fields.get(key)
            if said is not None:
                return Caution(cast(Signal, key.name), said)
        return None

    return ListShape(KeyedShape("caution", "a caution", keys, build, one_of=keys))


CAUTIONS_SAY = (
    "Signal words and texts, shown above the instruction: danger, warning, caution or notice (ANSI Z535, ISO 3864)."
)

# --- options and places -----------------------------------------------------------------------------

_ASK = Key("ask", LINE, "The question asked when the session opens.")
_CHOICES = Key(
    "choices",
    ListShape(LABEL, at_least=1, distinct=True),
    "The answers to choose from, the usual one first.",
    required=True,
)


def _option(fields: Fields) -> Option:
    name = fields.name.name
    return Option(name, fields.has(_ASK, f"{spoken(name)}?"), fields.has(_CHOICES, ()), fields.mark)


OPTIONS = MapShape(KeyedShape("option", "an option", (_ASK, _CHOICES), _option), "options by name")
PLACES = MapShape(ListShape(LABEL, at_least=1, distinct=True), "names with the places that each repeats over")

# --- state ------------------------------------------------------------------------------------------


def _value_names(values: tuple[str, ...], node: YamlNode, name: Ref, notes: ReadContext) -> dict[str, str]:
    return dict.fromkeys(values, "")


_VALUES = Key(
    "values",
    EitherShape(
        "a list of values, or values with their words for the bench",
        items=TransformedShape(ListShape(LABEL, at_least=1, distinct=True), _value_names),
        entries=MapShape(LINE, "values with their words", key=LABEL, at_least=1),
    ),
    "The ways this can stand: a list, or each value with its words for the bench (at-deck: at the deck).",
    required=True,
    examples=(["at-deck", "down"],),
)
_START = Key(
    "start",
    LABEL,
    "How it stands when the session opens: one of the values, or `ask`, which asks the builder.",
    required=True,
)
_STATE_ASK = Key("ask", LINE, "The question for `start: ask`.")
_STATE_TITLE = Key("title", LINE, "Its name in words, for the bench.")


def _variable(fields: Fields) -> Variable:
    name = fields.name.name
    words = fields.has(_VALUES, {})
    start = fields.get(_START)
    if start == "ask":
        start = None
    elif start is not None:
        fields.notes.mention("state-value", start, fields.at(_START), of=name)
    if "ask" in words:
        fields.problem("bad-name", _VALUES, "`ask` cannot be a value: `start: ask` means asking the builder")
    return Variable(
        name,
        tuple(words),
        start,
        fields.has(_STATE_ASK, ""),
        fields.has(_STATE_TITLE, ""),
        {value: said for value, said in words.items() if said},
        fields.mark,
    )


STATE = MapShape(
    KeyedShape("variable", "a state variable", (_VALUES, _START, _STATE_ASK, _STATE_TITLE), _variable),
    "state variables by name",
)

_NEVER = Key(
    "never", NEVER, "The values that must not stand together, each a value or a list of values.", required=True
)
_RULE_BECAUSE = Key("because", LINE, "What would happen, in the builder's words.")


def _rule(fields: Fields) -> Rule:
    never = fields.has(_NEVER, {})
    because = fields.get(_RULE_BECAUSE)
    if not fields.wrote(_RULE_BECAUSE):
        fields.notes.problem(
            "missing-because",
            fields.mark,
            "this rule does not say why",
            "write `because`: the builder is told it when he is stopped",
            "warning",
        )
    if because is None:
        standing = " and ".join(f"{name} {' or '.join(values)}" for name, values in never.items())
        because = f"{standing} must not stand together"
    return Rule(never, because, fields.mark)


INTERFERENCE = ListShape(KeyedShape("rule", "an interference rule", (_NEVER, _RULE_BECAUSE), _rule))

_MOVE_TITLE = Key("title", LINE, "What it is, in a line.")
_MOVE_DO = Key("do", PARAGRAPH, "How it is done.")
_MOVE_CAUTIONS = Key("cautions", cautions(), CAUTIONS_SAY)
_MOVE_WHEN = Key("when", WHEN, "Only for these choices of the options.")
_MOVE_NEEDS = Key(
    "needs", NEEDS, "How the assembly has to stand before it: each variable with a value or a list of values."
)
_MOVE_SETS = Key("sets", SETTINGS, "How the assembly stands after it.", required=True)


def _move(fields: Fields) -> Move:
    return Move(
        fields.name.name,
        fields.has(_MOVE_TITLE, spoken(fields.name.name)),
        fields.has(_MOVE_DO, ""),
        fields.has(_MOVE_CAUTIONS, ()),
        fields.has(_MOVE_WHEN, {}),
        fields.has(_MOVE_NEEDS, {}),
        fields.has(_MOVE_SETS, {}),
        fields.mark,
    )


MOVES = MapShape(
    KeyedShape(
        "move",
        "a move",
        (_MOVE_TITLE, _MOVE_DO, _MOVE_CAUTIONS, _MOVE_WHEN, _MOVE_NEEDS, _MOVE_SETS),
        _move,
        advice={"after": "a move may be made whenever its `needs` hold; it has no `after`"},
    ),
    "moves by name",
)

# --- kit and instruments ----------------------------------------------------------------------------

_KIT_TITLE = Key("title", LINE, "What it is, in words.")
_KIT_PN = Key("pn", LINE, "The part number, every digit as written.")
_KIT_QUANTITY = Key("quantity", LINE, "How many, or how much.")
_KIT_LOT = Key("lot", WordShape("required"), "`required`: its lot or batch number is asked for where it is used.")
_KIT_DISCARD = Key("discard", BooleanShape(), "true where it is used once and thrown away when it comes off again.")
_KIT_LIFE = Key("life", QuantityShape("time"), "How long it is good for once it has been opened.", examples=("30 d",))
_KIT = (_KIT_TITLE, _KIT_PN, _KIT_QUANTITY, _KIT_LOT, _KIT_DISCARD, _KIT_LIFE)


def _kit_items(kind: str) -> Shape[dict[str, KitItem]]:
    part = kind == "part"

    def build(fields: Fields) -> KitItem:
        return KitItem(
            fields.name.name,
            "part" if part else "consumable",
            fields.has(_KIT_TITLE, spoken(fields.name.name)),
            fields.has(_KIT_QUANTITY, ""),
            fields.wrote(_KIT_LOT),
            fields.has(_KIT_DISCARD, False),
            fields.get(_KIT_LIFE),
            fields.mark,
            fields.has(_KIT_PN, ""),
        )

    def titled(title: str, node: YamlNode, name: Ref, notes: ReadContext) -> KitItem:
        return KitItem(name.name, "part" if part else "consumable", title, mark=name.mark)

    noun = f"the {kind}'s title, or its keys"
    item = EitherShape(
        noun, text=TransformedShape(LINE, titled), entries=KeyedShape("kit-item", "a part or consumable", _KIT, build)
    )
    return MapShape(item, f"{kind}s by name")


_PARTS = Key("parts", _kit_items("part"), "Parts by name: a title, or keys.")
_CONSUMABLES = Key(
    "consumables", _kit_items("consumable"), "Sealants, oils, cloths and the like by name: a title, or keys."
)


def _kit(fields: Fields) -> tuple[KitItem, ...]:
    return (*fields.has(_PARTS, {}).values(), *fields.has(_CONSUMABLES, {}).values())


KIT = KeyedShape("kit", "the kit", (_PARTS, _CONSUMABLES), _kit)

_KIND = Key(
    "kind", LINE, "What it measures or is, as in the shop's register: torque, length, angle, ...", required=True
)
_INSTRUMENT_TITLE = Key("title", LINE, "What it is, in words.")
_COVERS = Key("covers", LimitShape(None, "20 .. 120 N·m"), "The range it has to cover.", examples=("20 .. 120 N·m",))
_UNCERTAINTY = Key(
    "uncertainty",
    LimitShape(None, "at most 4 %"),
    "The largest expanded uncertainty that will do: of the reading in per cent, or as a quantity.",
    examples=("at most 4 %",),
)
_UNFIT = Key(
    "unfit", WordShape("refuse", "warn"), "What happens when one that is not fit is taken: refuse (as a rule) or warn."
)


def _instrument(fields: Fields) -> InstrumentNeed:
    covers, uncertainty = fields.get(_COVERS), fields.get(_UNCERTAINTY)
    if covers is not None and uncertainty is not None:
        covered, unsure = limit_dimension(covers), limit_dimension(uncertainty)
        if unsure not in ("fraction", covered):
            fields.problem(
                "wrong-dimension", _UNCERTAINTY, f"an uncertainty of {unsure} for an instrument that covers {covered}"
            )
    return InstrumentNeed(
        fields.name.name,
        fields.has(_KIND, ""),
        fields.has(_INSTRUMENT_TITLE, spoken(fields.name.name)),
        covers,
        uncertainty,
        "warn" if fields.get(_UNFIT) == "warn" else "refuse",
        fields.mark,
    )


def limit_dimension(limit: object) -> str:
    """The dimension of a limit's ends; ``""`` for a bare count."""
    end = getattr(limit, "low", None) or getattr(limit, "high", None)
    return dimension_of(end.unit) if end is not None else ""


INSTRUMENTS = MapShape(
    KeyedShape("instrument", "an instrument", (_KIND, _INSTRUMENT_TITLE, _COVERS, _UNCERTAINTY, _UNFIT), _instrument),
    "instruments by name",
)

# --- what may come back, what follows ---------------------------------------------------------------


def _failure(text: str, node: YamlNode, name: Ref, notes: ReadContext) -> Failure:
    return Failure(name.name, text, name.mark)


FAILURES = MapShape(TransformedShape(LINE, _failure), "complaints by name")

_FOLLOW_TITLE = Key("title", LINE, "What is to be done.", required=True)
_DUE = Key("due", QuantityShape("time"), "When, counted from the end of the build.", examples=("14 d",))
_OR = Key("or", LINE, "The other measure of when, whichever comes first.", examples=("500 km",))


def _follow_up(fields: Fields) -> FollowUp:
    return FollowUp(fields.has(_FOLLOW_TITLE, ""), fields.get(_DUE), fields.has(_OR, ""), fields.mark)


FOLLOW_UP = ListShape(KeyedShape("follow-up", "a follow-up", (_FOLLOW_TITLE, _DUE, _OR), _follow_up))
UNITS = MapShape(DisplayUnitShape(), "kinds of quantity with the unit that the screen shows", key=DimensionShape())


def read_places(root: YamlNode | None, notes: ReadContext) -> None:
    """Note what stands under `places` before the rest is read, since readings may name a set of them."""
    if not isinstance(root, YamlMapping):
        return
    for key, value in root.pairs:
        if key.text == "places":
            notes.place_sets = PLACES.read(value, notes) or {}
