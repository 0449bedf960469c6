"""Every sum by name: what it asks, and how it is done. A command and a screen both work from this table.

``work("wrench", {"torque": "300 in-lb", "lever": "10 in", "extension": "4 in"})`` gives a
:class:`~benchflow.trade.worked.Worked`.
"""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

from benchflow.procedure.model import DecisionRule
from benchflow.procedure.problems import hint_for
from benchflow.quantity import Limit, Quantity, dimension_of, show
from benchflow.quantity.arithmetic import decimal
from benchflow.trade import cam, clearances, compression, decision, fasteners, shims, stretch, thermal, wrench
from benchflow.trade.asking import (
    Answers,
    Field,
    LimitText,
    Measure,
    OneOf,
    SumErrors,
    SumSpec,
    ThreadName,
    UnitName,
    Words,
    do,
)
from benchflow.trade.rounding import in_unit, width
from benchflow.trade.worked import Line, SumError, Worked, line


def work(name: str, texts: Mapping[str, str], *, bare: bool = False) -> Worked:
    """The sum called ``name`` done with ``texts`` by field. ``bare`` lets a number without a unit take the field's.

    Raises :class:`SumErrors` for a name that is not known and for everything that is wrong with the answers.
    """
    spec = SUMS.get(name)
    if spec is None:
        raise SumErrors((SumError("", f"There is no sum called “{name}”", hint_for(name, SUMS)),))
    return do(spec, texts, bare=bare)


# --- what is asked ----------------------------------------------------------------------------------


def _length(name: str, ask: str, example: str, *, optional: bool = False) -> Field:
    return Field(name, ask, Measure("length", "mm"), example, optional)


def _angle(name: str, ask: str, example: str, *, optional: bool = False) -> Field:
    return Field(name, ask, Measure("angle", "°"), example, optional)


def _torque(name: str, ask: str, example: str) -> Field:
    return Field(name, ask, Measure("torque", "N·m"), example)


def _number(name: str, ask: str, example: str, *, optional: bool = False) -> Field:
    return Field(name, ask, Measure(""), example, optional)


def _warmth(name: str, ask: str, example: str) -> Field:
    return Field(name, ask, Measure("temperature", "°C"), example)


def _expansion(name: str, ask: str) -> Field:
    return Field(name, ask, Measure("expansion", "ppm/K"), "23 ppm/K")


_THREAD = Field("thread", "Thread", ThreadName(), "M10x1.25")
_CLASS = Field("class", "Property class or grade", Words(), "10.9", optional=True)
_NUT_FACTOR = _number("nut-factor", "Nut factor K (0.20 dry and 0.15 oiled are usual)", "0.15")
_MODULUS = Field(
    "modulus", "Young's modulus (steel unless said)", Measure("pressure", "MPa"), "205000 MPa", optional=True
)
_FORCE_UNIT = Field("unit", "Unit of the answer", UnitName("force"), "kN", optional=True)
_TORQUE_UNIT = Field("unit", "Unit of the answer", UnitName("torque"), "N·m", optional=True)
_STRETCHES = _length("length", "Length that stretches", "100 mm")


# --- fasteners --------------------------------------------------------------------------------------


def _decimal(answers: Answers, name: str) -> Decimal:
    return answers.quantity(name).value


_FASTENERS = (
    SumSpec(
        "torque", "A torque in another unit",
        (_torque("torque", "Torque", "72 in-lb"), Field("unit", "In which unit", UnitName("torque"), "N·m")),
        lambda a: fasteners.in_torque(a.quantity("torque"), a.text("unit")),
        "exact factors",
    ),
    SumSpec(
        "wrench", "Torque wrench setting with an extension or crowfoot",
        (
            _torque("torque", "Torque at the fastener", "300 in-lb"),
            _length("lever", "Wrench, square to middle of grip", "10 in"),
            _length("extension", "Extension, square to fastener", "4 in"),
            _angle("angle", "Angle: 0° in line, 90° across, 180° pointing back", "0°", optional=True),
        ),
        lambda a: wrench.with_extension(
            a.quantity("torque"), a.quantity("lever"), a.quantity("extension"), a.maybe("angle")
        ),
        wrench.EXTENSION_SOURCE,
    ),
    SumSpec(
        "wrench-check", "Check of a torque wrench against a reference",
        (
            _torque("shown", "What the wrench is set to", "100 N·m"),
            _torque("reference", "What the reference reads", "97.2 N·m"),
            _torque("largest", "Top of its scale", "120 N·m"),
        ),
        lambda a: wrench.wrench_check(*a.quantities("shown", "reference", "largest")),
        "ISO 6789",
    ),
    SumSpec(
        "drag", "Final torque of a self-locking nut",
        (_torque("torque", "Torque wanted", "60 in-lb"), _torque("drag", "Friction drag before it seats", "8 in-lb")),
        lambda a: wrench.with_drag(*a.quantities("torque", "drag")),
        wrench.DRAG_SOURCE,
    ),
    SumSpec(
        "preload", "Preload from torque, with its scatter",
        (_torque("torque", "Torque", "85 ft-lb"), _THREAD, _NUT_FACTOR, _CLASS, _FORCE_UNIT),
        lambda a: fasteners.preload(
            a.quantity("torque"), a.thread(), _decimal(a, "nut-factor"), a.text("class"), a.text("unit", "kN")
        ),
        fasteners.SHORT_SOURCE,
    ),
    SumSpec(
        "torque-for-preload", "Torque for a wanted preload",
        (Field("preload", "Preload wanted", Measure("force", "kN"), "40 kN"), _THREAD, _NUT_FACTOR, _TORQUE_UNIT),
        lambda a: fasteners.torque_for(
            a.quantity("preload"), a.thread(), _decimal(a, "nut-factor"), a.text("unit", "N·m")
        ),
        fasteners.SHORT_SOURCE,
    ),
    SumSpec(
        "nut-factor", "Nut factor from friction in the thread and under the head",
        (
            _THREAD, _number("thread-friction", "Friction in the thread", "0.12"),
            _number("head-friction", "Friction under the head", "0.12"),
        ),
        lambda a: fasteners.nut_factor_from_friction(
            a.thread(), _decimal(a, "thread-friction"), _decimal(a, "head-friction")
        ),
        fasteners.LONG_SOURCE,
    ),
    SumSpec(
        "lubricant", "Torque for another lubricant",
        (
            _torque("torque", "Torque as given", "100 N·m"), _number("assumed", "Nut factor it assumes", "0.20"),
            _number("actual", "Nut factor of the lubricant in hand", "0.15"),
        ),
        lambda a: fasteners.lubricant_change(a.quantity("torque"), _decimal(a, "assumed"), _decimal(a, "actual")),
        "T = K d F",
    ),
    SumSpec(
        "proof-load", "Proof load of a bolt",
        (_THREAD, Field("class", "Property class or grade", Words(), "10.9")),
        lambda a: fasteners.proof_load(a.thread(), a.text("class")),
        "ISO 898-1; SAE J429",
    ),
    SumSpec(
        "stretch", "Stretch of a bolt under load",
        (Field("force", "Load", Measure("force", "kN"), "45 kN"), _THREAD, _STRETCHES, _MODULUS),
        lambda a: stretch.stretch_of(
            a.quantity("force"), a.thread(), a.quantity("length"), a.maybe("modulus"), a.quantity("length").unit
        ),
        "Hooke's law",
    ),
    SumSpec(
        "preload-from-stretch", "Preload from measured stretch",
        (_length("stretch", "Measured stretch", "0.15 mm"), _THREAD, _STRETCHES, _MODULUS, _FORCE_UNIT),
        lambda a: stretch.force_from_stretch(
            a.quantity("stretch"), a.thread(), a.quantity("length"), a.maybe("modulus"), a.text("unit", "kN")
        ),
        "Hooke's law",
    ),
    SumSpec(
        "angle", "Angle from snug for a wanted stress",
        (Field("stress", "Stress wanted", Measure("pressure", "MPa"), "620 MPa"), _THREAD, _STRETCHES, _MODULUS),
        lambda a: stretch.angle_for(a.quantity("stress"), a.thread(), a.quantity("length"), a.maybe("modulus")),
        stretch.HANDBOOK,
    ),
)  # fmt: skip

# --- clearances -------------------------------------------------------------------------------------


def _flatness(answers: Answers) -> Worked:
    given = answers.maybe("ratio")
    ratio = clearances.FLATNESS if given is None else Fraction(given.value)
    return clearances.flatness(answers.quantity("span"), ratio)


def _shim(answers: Answers) -> Worked:
    first, last, step = (answers.maybe(name) for name in ("first", "last", "step"))
    grid = None if first is None or last is None or step is None else (first, last, step)
    if grid is None and any(one is not None for one in (first, last, step)):
        raise SumError("step", "The sizes made need a first, a last and a step", "Give all three or none.")
    return shims.shim(answers.quantity("old"), answers.quantity("measured"), answers.quantity("target"), grid)


_CLEARANCES = (
    SumSpec(
        "bearing", "Bearing clearance",
        (_length("bore", "Bore, shells in, cap torqued", "52.010 mm"), _length("journal", "Journal", "51.970 mm")),
        lambda a: clearances.bearing(*a.quantities("bore", "journal")),
        clearances.COMMON,
    ),
    SumSpec(
        "ring-gap", "Ring end gap",
        (
            _length("bore", "Bore", "4.000 in"),
            Field("use", "What it is for", OneOf(tuple(clearances.RING_GAPS)), "street", optional=True),
            _number("factor", "Factor of the ring's maker", "0.0045", optional=True),
        ),
        lambda a: clearances.ring_gap(a.quantity("bore"), a.text("use"), a.maybe("factor")),
        clearances.COMMON,
    ),
    SumSpec(
        "piston-to-valve", "Piston to valve",
        (
            _length("measured", "Closest, as measured", "0.090 in"),
            Field("valve", "Which valve", OneOf(tuple(clearances.PISTON_TO_VALVE)), "intake"),
            _length("lash", "Lash, where it was measured without", "0.010 in", optional=True),
        ),
        lambda a: clearances.piston_to_valve(a.quantity("measured"), a.text("valve"), a.maybe("lash")),
        clearances.COMMON,
    ),
    SumSpec(
        "flatness", "How flat a surface has to be",
        (
            _length("span", "Length of the surface", "12 in"),
            _number("ratio", "Out of flat to the length", "0.00075", optional=True),
        ),
        _flatness, "one maker's manual",
    ),
    SumSpec(
        "shim", "Shim size",
        (
            _length("old", "Shim that is in", "2.40 mm"), _length("measured", "Clearance measured", "0.45 mm"),
            _length("target", "Clearance wanted", "0.37 mm"),
            _length("first", "Smallest size made", "2.00 mm", optional=True),
            _length("last", "Largest size made", "2.98 mm", optional=True),
            _length("step", "Step of the sizes", "0.02 mm", optional=True),
        ),
        _shim, shims.SOURCE,
    ),
    SumSpec(
        "growth", "Growth with temperature",
        (
            _length("length", "Length", "400 mm"), _expansion("coefficient", "Coefficient of expansion"),
            _warmth("cold", "Temperature before", "20 °C"), _warmth("hot", "Temperature after", "90 °C"),
        ),
        lambda a: thermal.growth(*a.quantities("length", "coefficient", "cold", "hot")),
        "linear expansion",
    ),
    SumSpec(
        "hot-clearance", "Clearance cold and hot",
        (
            _length("bore", "Bore", "22.020 mm"), _length("shaft", "Shaft or pin", "22.000 mm"),
            _expansion("bore-coefficient", "Expansion of the bore"),
            _expansion("shaft-coefficient", "Expansion of the shaft"),
            _warmth("cold", "Temperature measured at", "20 °C"), _warmth("hot", "Temperature at work", "90 °C"),
        ),
        lambda a: thermal.clearance_change(
            *a.quantities("bore", "shaft", "bore-coefficient", "shaft-coefficient", "cold", "hot")
        ),
        "linear expansion",
    ),
)  # fmt: skip

# --- the engine as a whole --------------------------------------------------------------------------

_ENGINE = (
    SumSpec(
        "compression", "Compression ratio",
        (
            _length("bore", "Bore", "4.03 in"), _length("stroke", "Stroke", "3.48 in"),
            Field("head", "Chamber volume", Measure("volume", "cm³"), "76 cm³"),
            Field("crown", "Crown volume: a dish counts up, a dome is negative", Measure("volume", "cm³"), "7 cm³"),
            _length("gasket-bore", "Hole of the gasket", "4.166 in"),
            _length("gasket", "Gasket, tightened", "0.035 in"),
            _length("deck", "Piston below the deck (negative: above)", "0.005 in"),
        ),
        lambda a: compression.compression_ratio(
            *a.quantities("bore", "stroke", "head", "crown", "gasket-bore", "gasket", "deck")
        ),
        "geometry",
    ),
    SumSpec(
        "cam-timing", "Centrelines and lobe separation from opening and closing points",
        (
            _angle("intake-opens", "Intake opens, before top", "31°"),
            _angle("intake-closes", "Intake closes, after bottom", "63°"),
            _angle("exhaust-opens", "Exhaust opens, before bottom", "77°"),
            _angle("exhaust-closes", "Exhaust closes, after top", "29°"),
        ),
        lambda a: cam.timing(*a.quantities("intake-opens", "intake-closes", "exhaust-opens", "exhaust-closes")),
        cam.SOURCE,
    ),
    SumSpec(
        "cam-points", "Opening and closing points from durations and lobe separation",
        (
            _angle("intake-duration", "Intake duration", "274°"),
            _angle("exhaust-duration", "Exhaust duration", "286°"),
            _angle("separation", "Lobe separation", "110°"), _angle("advance", "Advance (negative: retarded)", "4°"),
        ),
        lambda a: cam.points(*a.quantities("intake-duration", "exhaust-duration", "separation", "advance")),
        cam.SOURCE,
    ),
    SumSpec(
        "centreline", "Centreline from two readings at equal lift",
        (
            _angle("first", "First reading, after top", "56°"), _angle("second", "Second reading, after top", "156°"),
        ),
        lambda a: cam.centreline(*a.quantities("first", "second")),
        cam.SOURCE,
    ),
)  # fmt: skip

# --- judging ----------------------------------------------------------------------------------------


def _judge(answers: Answers) -> Worked:
    reading, limit = answers.quantity("reading"), answers.limit("limit")
    rule: DecisionRule = "simple" if answers.text("decision") == "simple" else "guarded"
    expanded, factor = answers.maybe("uncertainty"), answers.maybe("coverage-factor")
    k = Fraction(2) if factor is None else Fraction(factor.value)
    if k <= 0 or (expanded is not None and expanded.value < 0):
        raise SumError("uncertainty", "An uncertainty is not below zero, and its coverage factor above it")
    _alike(reading, limit)
    u = None if expanded is None else _standard(reading, expanded, k)
    found = decision.judge(reading, limit, rule, u)
    lines: list[Line] = []
    if u is not None and expanded is not None:
        told = f"{show(expanded)} / {float(k):g}"
        lines.append(line("u", "Standard uncertainty", u.value, u.unit, "u = U / k", told, digits=2))
        guard = Fraction(u.value) * decision.GUARD_FACTOR
        lines.append(line("guard", "Guard band", guard, u.unit, "1.65 × u", f"1.65 × {lines[0].shown}", digits=2))
    if found.conformity is not None:
        chance = decision.conformity_words(found.conformity)
        verdict_line = line("conformity", "Probability of conformity", 100 * found.conformity, "%",
                            "normal distribution about the reading", "", decimals=1)  # fmt: skip
        lines.append(Line(verdict_line.name, verdict_line.title, verdict_line.value, verdict_line.formula, chance))
    verdict = {"in": "In", "out": "Out", "not-proven": "Not proven"}[found.verdict]
    notes = (f"{verdict}: {found.because}.", f"Rule: {decision.RULES[rule]}.")
    return Worked("A reading against its limit", tuple(lines), "ISO 14253-1:2017; JCGM 106:2012", notes)


def _alike(reading: Quantity, limit: Limit) -> None:
    for end in (limit.low, limit.high):
        if end is not None and dimension_of(end.unit) != dimension_of(reading.unit):
            raise SumError("limit", f"{show(end)} is no limit for a reading of {show(reading)}")


def _standard(reading: Quantity, expanded: Quantity, k: Fraction) -> Quantity:
    """u = U / k in the reading's unit; U may be a share of the reading."""
    found, wanted = dimension_of(expanded.unit), dimension_of(reading.unit)
    if found == wanted:
        return in_unit(width(expanded) / k, reading.unit, difference=True)
    if found != "fraction":
        raise SumError("uncertainty", f"{show(expanded)} does not go with a reading of {show(reading)}")
    return Quantity(decimal(abs(Fraction(reading.value)) * width(expanded) / k), reading.unit, "")


_JUDGING = (
    SumSpec(
        "judge", "A reading against its limit",
        (
            Field("reading", "Reading", Measure(None), "0.0027 mm"),
            Field("limit", "Limit", LimitText(), "-0.003 .. 0.003 mm"),
            Field("uncertainty", "Expanded uncertainty U", Measure(None), "0.001 mm", optional=True),
            _number("coverage-factor", "Its coverage factor k (2 unless said)", "2", optional=True),
            Field("decision", "Rule (guarded unless said)", OneOf(("guarded", "simple")), "guarded", optional=True),
        ),
        _judge, "ISO 14253-1:2017; JCGM 106:2012",
    ),
)  # fmt: skip

SUMS: dict[str, SumSpec] = {spec.name: spec for spec in (*_FASTENERS, *_CLEARANCES, *_ENGINE, *_JUDGING)}
"""Name to sum, in the order in which they are offered."""
