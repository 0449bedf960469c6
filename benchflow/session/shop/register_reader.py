"""Reads the shop file. The same shapes define its JSON Schema.

.. code-block:: yaml

    shop: 1
    id: 3f0c9e2b7a514d86a1c2e4b5d6f70819                             # made by the program
    name: The bench by the window
    address: [12 Quay Road, Smalltown]                               # the letterhead of the build sheets
    telephone: 01234 567890
    email: bench@example.org
    logo: logo.png                                                   # a picture beside this file
    people:
      A. Builder: {roles: [builder]}
      B. Second: {roles: [builder, inspector], pin: scrypt$...}      # set by `benchflow shop pin`
    instruments:
      tw-120:
        title: Click wrench
        kind: torque
        serial: T-0117
        range: 20 .. 120 N·m
        uncertainty: 4 %             # expanded; or `0.002 mm`, or `1 % of scale`
        coverage-factor: 2
        calibrated: 2026-01-15
        calibration-due: 2027-01-15
        uses-since: 410
        lever: 380 mm
    defaults: {by: A. Builder}
"""

import hashlib
import re
from decimal import Decimal
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.plaintext import folded
from benchflow.base.regular_file import read_regular_file
from benchflow.procedure.model import Mark, Ref
from benchflow.procedure.problems import Problem, hint_for
from benchflow.procedure.shapes.basic_shapes import (
    LINE,
    FactorShape,
    ListShape,
    MapShape,
    TransformedShape,
    WordShape,
    integer,
)
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import LimitShape, QuantityShape, read_quantity, report_quantity_error
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode
from benchflow.procedure.yaml_source.yaml_reader import decode, parse
from benchflow.quantity import Quantity, QuantityError, dimension_of, show
from benchflow.session.log.timestamps import BadTimestamp, format_timestamp, parse_timestamp
from benchflow.session.shop.doubt_keys import DOUBT, ENDED_DOUBT, DateShape
from benchflow.session.shop.letterhead_keys import LETTERHEAD_KEYS, read_letterhead
from benchflow.session.shop.register import PATH_ID, Defaults, Person, Shop, parse_pin_hash, salt_fits
from benchflow.session.shop.uncertainty_text import ShareOfScale, parse_uncertainty
from benchflow.trade.instrument_doubts import Doubt
from benchflow.trade.instruments import FixedUncertainty, Instrument, Uncertainty


class ParsedShop(Struct, frozen=True):
    """The register in a file and the problems of the file. ``shop`` is ``None`` if any problem is an error."""

    shop: Shop | None
    problems: tuple[Problem, ...]


def load_shop(path: Path) -> ParsedShop:
    """Read the shop file at ``path``.

    Raises:
        OSError: the file cannot be opened.
    """
    text, problems = decode(read_regular_file(path), path.name)
    return ParsedShop(None, problems.listed(None)) if text is None else read_shop(text, path.name)


def read_shop(text: str, file: str = "shop.yaml") -> ParsedShop:
    """Read the register in ``text``. It never raises: all problems are in the result, in the order of the file."""
    source = parse(text, file)
    shop = None if source.root is None else SHOP.read(source.root, ReadContext(source.problems))
    if source.root is None and not source.problems.any_error:
        shop = Shop()  # an empty file is an empty register
    problems = source.problems.listed(source.root)
    if shop is None or source.problems.any_error:
        return ParsedShop(None, problems)
    return ParsedShop(replace(shop, sha256=hashlib.sha256(text.encode()).hexdigest()), problems)


def json_schema() -> JsonSchema:
    """JSON Schema (2020-12) of the shop file, for editors."""
    definitions = Definitions()
    shop = SHOP.schema(definitions)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "The shop's register",
        **shop,
        "$defs": definitions.parts,
    }


# --- shapes of values -------------------------------------------------------------------------------


class CountShape(Shape[int]):
    """A whole number from 0."""

    noun = "a whole number"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> int | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        number = integer(found.text)
        if number is None:
            hint = "Write a whole number, such as 410"
            context.problem("bad-number", found.mark, f"`{found.text[:40]}` is not a whole number", hint)
        return number

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "integer", "minimum": 0}


class AnyQuantityShape(Shape[Quantity]):
    """A quantity of any dimension."""

    noun = "a quantity with its unit, such as 120 N·m"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> Quantity | None:
        found = scalar(node, self.noun, context)
        return None if found is None else read_quantity(found, context, None)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string", "pattern": r"\S"}


class UncertaintyShape(Shape[Uncertainty | ShareOfScale]):
    """An expanded uncertainty: fixed, a percentage of the reading, or a share of the full scale."""

    noun = "an uncertainty such as 4 %, 0.002 mm or 1 % of scale"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> Uncertainty | ShareOfScale | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        sign = len(found.text) - len(found.text.lstrip(" ±"))
        try:
            read = parse_uncertainty(found.text)
        except QuantityError as error:
            report_quantity_error(error, found, context, sign)
            return None
        if read is None:
            context.problem(
                "bad-quantity", found.mark, f"`{found.text[:40]}` is not an uncertainty", f"Write {self.noun}"
            )
        return read

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string", "pattern": r"\S"}


_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")


def _id(text: str, node: YamlNode, name: Ref, context: ReadContext) -> str | None:
    if _ID.fullmatch(text) and not text.startswith(PATH_ID):
        return text
    hint = "Take the line out. The program makes a new id with the next change"
    context.problem("bad-name", node.mark, f"`{text[:40]}` is not the id of a register", hint)
    return None


def _time(text: str, node: YamlNode, name: Ref, context: ReadContext) -> str | None:
    try:
        return format_timestamp(parse_timestamp(text))
    except BadTimestamp:
        hint = "Write it like 2026-03-01T18:30:00Z, or take the line out"
        context.problem("bad-date", node.mark, f"`{text[:40]}` is not a date and time", hint)
        return None


def _pin(text: str, node: YamlNode, name: Ref, context: ReadContext) -> str | None:
    if parse_pin_hash(text) is None:
        # The text may be the PIN itself, so the message does not repeat it.
        hint = "Set the PIN with `benchflow shop pin`"
        context.problem("bad-pin", node.mark, "This is not the salted hash of a PIN", hint)
        return None
    return text


# --- people -----------------------------------------------------------------------------------------

_ROLES = Key(
    "roles", ListShape(LINE, single=True, distinct=True), "The roles for which the person may sign.", required=True
)
_PIN = Key(
    "pin",
    TransformedShape(LINE, _pin),
    "The salted hash of the PIN, written by `benchflow shop pin`. Never the PIN itself.",
)
_PIN_CHANGED = Key(
    "pin-changed",
    TransformedShape(LINE, _time),
    "When the PIN was set or removed, written by `benchflow shop pin`. A log names it.",
    examples=("2026-03-01T18:30:00.000Z",),
)
_PERSON_RETIRED = Key("retired", DateShape(), "The first day on which the person no longer works here.")


def _person(fields: Fields) -> Person:
    name = fields.name.name
    if not salt_fits(fields.get_or(_PIN, ""), name, fields.get_or(_PIN_CHANGED, "")):
        hint = f"Remove `pin` and `pin-changed`, then: benchflow shop pin '{name}'"
        fields.problem("bad-pin", _PIN, f"This PIN was set for another person than {name}, or at another time", hint)
    return Person(
        fields.name.name,
        fields.get_or(_ROLES, ()),
        fields.get_or(_PIN, ""),
        fields.get(_PERSON_RETIRED),
        fields.get_or(_PIN_CHANGED, ""),
    )


PEOPLE = MapShape(
    KeyedShape("person", "a person", (_ROLES, _PIN, _PIN_CHANGED, _PERSON_RETIRED), _person), "people by name", key=LINE
)

# --- instruments ------------------------------------------------------------------------------------

_TITLE = Key("title", LINE, "The name of the instrument at the bench.", examples=("Click wrench",))
_KIND = Key(
    "kind", LINE, "The kind of instrument, with the same name as in procedures.", required=True,
    examples=("torque", "micrometer", "dial indicator"),
)  # fmt: skip
_SERIAL = Key("serial", LINE, "The serial number on the instrument.")
_RANGE = Key("range", LimitShape(None, "20 .. 120 N·m"), "The measuring or setting range.", examples=("20 .. 120 N·m",))
_SCALE = Key("scale", AnyQuantityShape(), "The full scale, if it is not the upper end of the range.")
_UNCERTAINTY = Key(
    "uncertainty", UncertaintyShape(), "The expanded uncertainty: fixed, or a share of the reading or full scale.",
    examples=("4 %", "1 % of scale", "0.002 mm"),
)  # fmt: skip
_COVERAGE = Key("coverage-factor", FactorShape(), "The coverage factor k of the uncertainty; 2 by default.")
_CALIBRATED = Key("calibrated", DateShape(), "The date of the last calibration.")
_DUE = Key(
    "calibration-due", DateShape(), "The date when the calibration runs out. Default for torque tools: after 12 months."
)
_USES = Key("uses-since", CountShape(), "The uses since the last calibration, without those in `uses-in`.")
_USES_IN = Key(
    "uses-in", MapShape(CountShape(), "uses by session", key=LINE), "The uses in each job, counted by the program."
)
_ALLOWED = Key(
    "uses-allowed", CountShape(), "The uses after which a calibration runs out. Default for torque tools: 5000."
)
_LEVER = Key(
    "lever", QuantityShape("length"), "The length of a wrench from its square drive to the middle of its grip."
)
_DOUBT = Key(
    "in-doubt", DOUBT,
    "The reason why it must be calibrated before further use, such as a fall; with keys, also when that was `found`, "
    "and the `last-good` check before it.",
    examples=("dropped", {"reason": "dropped", "found": "2026-05-01", "last-good": "2025-11-03"}),
)  # fmt: skip
_DOUBTS = Key(
    "doubts", ListShape(ENDED_DOUBT),
    "The earlier doubts, each with the calibration that ended it. Jobs between the last good check and that "
    "calibration stay in doubt.",
)  # fmt: skip
_RETIRED = Key("retired", DateShape(), "The first day on which it is no longer used.")
_NOTE = Key("note", LINE, "A note.")
_INSTRUMENT = (
    _TITLE, _KIND, _SERIAL, _RANGE, _SCALE, _UNCERTAINTY, _COVERAGE, _CALIBRATED, _DUE, _USES, _USES_IN, _ALLOWED,
    _LEVER, _DOUBT, _DOUBTS, _RETIRED, _NOTE,
)  # fmt: skip


def _instrument(fields: Fields) -> Instrument:
    calibrated, due, span = fields.get(_CALIBRATED), fields.get(_DUE), fields.get(_RANGE)
    if calibrated is not None and due is not None and due < calibrated:
        fields.problem("bad-date", _DUE, "The calibration runs out before its own date", "Correct one of the two dates")
    scale, top = fields.get(_SCALE), None if span is None else span.high
    doubt = fields.get_or(_DOUBT, Doubt(""))
    if scale is not None and top is not None and dimension_of(scale.unit) != dimension_of(top.unit):
        fields.problem(
            "wrong-dimension",
            _SCALE,
            f"The scale {show(scale)} and the range up to {show(top)} have different dimensions",
        )
    return Instrument(
        id=fields.name.name, kind=fields.get_or(_KIND, ""), title=fields.get_or(_TITLE, ""),
        serial=fields.get_or(_SERIAL, ""),
        range=span, scale=scale, uncertainty=_uncertainty(fields, scale or top),
        k=fields.get_or(_COVERAGE, Decimal(2)), calibrated=calibrated, due=due, uses_before=fields.get_or(_USES, 0),
        uses_in=fields.get_or(_USES_IN, {}), uses_allowed=fields.get(_ALLOWED), lever=_lever(fields),
        doubt=doubt.reason, doubt_found=doubt.found, last_good=doubt.last_good, doubts=fields.get_or(_DOUBTS, ()),
        retired=fields.get(_RETIRED), note=fields.get_or(_NOTE, ""),
    )  # fmt: skip


def _uncertainty(fields: Fields, scale: Quantity | None) -> Uncertainty | None:
    found = fields.get(_UNCERTAINTY)
    if isinstance(found, FixedUncertainty) and scale is not None:
        if dimension_of(found.quantity.unit) != dimension_of(scale.unit):
            message = f"The uncertainty {found.text} and the scale up to {show(scale)} have different dimensions"
            fields.problem("wrong-dimension", _UNCERTAINTY, message)
        return found
    if not isinstance(found, ShareOfScale):
        return found
    if scale is None:
        fields.problem("missing-key", _UNCERTAINTY, "A share of the scale needs a scale", "Add `range` or `scale`")
        return None
    return FixedUncertainty(Quantity(scale.value * found.percent / 100, scale.unit, found.text), found.text)


def _lever(fields: Fields) -> Quantity | None:
    lever = fields.get(_LEVER)
    if lever is not None and lever.value <= 0:
        fields.problem("bad-quantity", _LEVER, "The length of a wrench must be above zero")
    return lever


INSTRUMENTS = MapShape(KeyedShape("instrument", "an instrument", _INSTRUMENT, _instrument), "instruments by name")

# --- the whole file ---------------------------------------------------------------------------------

_BY = Key("by", LINE, "The builder of a new job if no other name is given.")


class _Defaults(Struct, frozen=True):
    """The defaults, and the place of the builder's name in the file. It is checked after all people are read."""

    values: Defaults = Defaults()
    by_mark: Mark = Mark()


def _defaults(fields: Fields) -> _Defaults:
    return _Defaults(Defaults(fields.get_or(_BY, "")), fields.at(_BY))


_VERSION = Key("shop", WordShape("1"), "The version of this format: 1.", required=True)
_REGISTER_ID = Key(
    "id",
    TransformedShape(LINE, _id),
    "The permanent id of this register, made by the program. A job goes on only with the register it began with.",
    examples=("3f0c9e2b7a514d86a1c2e4b5d6f70819",),
)
_NAME = Key("name", LINE, "The name of the shop.")
_PEOPLE = Key("people", PEOPLE, "The people who work here.")
_INSTRUMENTS = Key("instruments", INSTRUMENTS, "The instruments and torque tools.")
_DEFAULTS = Key("defaults", KeyedShape("defaults", "the defaults", (_BY,), _defaults), "The defaults of a new job.")


def _shop(fields: Fields) -> Shop:
    people = tuple(fields.get_or(_PEOPLE, {}).values())
    instruments = tuple(fields.get_or(_INSTRUMENTS, {}).values())
    defaults = fields.get_or(_DEFAULTS, _Defaults())
    names, by = [person.name for person in people], defaults.values.by
    if by and by not in names:
        hint = hint_for(by, names, "Add this person under `people` first")
        fields.context.problem("unknown-name", defaults.by_mark, f"`{by}` is not in the register", hint)
    _check_serials(fields, instruments)
    _check_names(fields, people)
    return Shop(
        fields.get_or(_NAME, ""), people, instruments, defaults.values, id=fields.get_or(_REGISTER_ID, ""),
        letterhead=read_letterhead(fields),
    )  # fmt: skip


def _check_serials(fields: Fields, instruments: tuple[Instrument, ...]) -> None:
    """Report a serial number that two instruments have. A trace by that number would mix them up."""
    seen: dict[str, str] = {}
    for one in instruments:
        if one.serial and one.serial in seen:
            message = f"`{one.id}` and `{seen[one.serial]}` have the same serial number, {one.serial}"
            fields.problem("duplicate-item", _INSTRUMENTS, message, "Correct one of the two")
        seen.setdefault(one.serial, one.id)


def _check_names(fields: Fields, people: tuple[Person, ...]) -> None:
    """Report two people whose names differ only in capitals, width or spacing: one would pass for the other."""
    seen: dict[str, str] = {}
    for person in people:
        other = seen.setdefault(folded(person.name), person.name)
        if other != person.name:
            message = f"`{person.name}` and `{other}` differ only in capitals or spacing"
            fields.problem("duplicate-item", _PEOPLE, message, "Give one of them another name")


_KEYS: tuple[Key[Any], ...] = (
    _VERSION, _REGISTER_ID, _NAME, *LETTERHEAD_KEYS, _PEOPLE, _INSTRUMENTS, _DEFAULTS,
)  # fmt: skip
SHOP = KeyedShape("shop", "a shop file", _KEYS, _shop)
