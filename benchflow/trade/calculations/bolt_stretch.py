"""Stretch of a bolt, preload from its stretch, and its effective length.

A bolt is given as segments (shank, neck, thread). A length alone counts as thread from end to end, and the result says
so. The formulas hold below the proof load.
"""

from math import pi, sqrt

from msgspec import Struct

from benchflow.quantity import Quantity, show
from benchflow.trade.calculations.bolt_load import CLASS_FIELD, check_load, check_stress
from benchflow.trade.calculations.bolt_resilience import (
    BOLT_ENDS,
    STEEL_MPA,
    BoltEnd,
    BoltResilience,
    BoltSegment,
    SegmentError,
    WeakestSection,
    bolt_resilience,
    grip_of,
    parse_segments,
    weakest_section,
)
from benchflow.trade.calculations.input_checks import require_not_negative, require_within
from benchflow.trade.calculations.inputs import (
    FORCE_UNIT_FIELD,
    THREAD_FIELD,
    Calculation,
    InputField,
    Inputs,
    QuantityInput,
    TextInput,
    WordInput,
    length_field,
)
from benchflow.trade.calculations.result import CalculationError, CalculationResult, ResultLine, line, require_positive
from benchflow.trade.calculations.threads import Thread
from benchflow.trade.rounding import amount, unit_amount

HANDBOOK = "MIL-HDBK-60 form, as an engineering reference prints it"
STRETCH_SOURCE = "Hooke's law; heads and threads after VDI 2230 part 1, 5.1.1 (from memory)"

_END_TEXT: dict[BoltEnd, str] = {
    "hexagon": "a hexagon head (0.5 d of shank)",
    "socket": "a socket head (0.4 d of shank)",
    "nut": "thread in a nut (0.5 d of core, 0.4 d give)",
    "tapped": "thread in a tapped hole (0.5 d of core, 0.33 d give)",
    "none": "nothing for the end",
}


class ElasticBolt(Struct, frozen=True):
    """A bolt as a spring.

    ``sections`` are lengths and areas in mm and mm², ``grip`` is in mm. ``assumed`` is a sentence for the result.
    """

    thread: Thread
    resilience: BoltResilience
    sections: tuple[tuple[float, float], ...]
    grip: float
    modulus: float
    assumed: str
    weakest: WeakestSection

    @property
    def sections_text(self) -> str:
        """The spring rate with numbers: ``205000 MPa / (80/78.54 + 20/52.29)``."""
        parts = " + ".join(f"{length:.4g}/{area:.4g}" for length, area in self.sections)
        return f"{self.modulus:.6g} MPa / ({parts} mm/mm²)"


def elastic_bolt(inputs: Inputs, *, part_modulus: float = STEEL_MPA) -> ElasticBolt:
    """Return the bolt of the fields :data:`BOLT_FIELDS`.

    ``part_modulus`` is Young's modulus in MPa of a part with a tapped hole.

    Raises:
        CalculationError: there are neither segments nor a length, or one of them is impossible.
    """
    thread, text, length = inputs.thread(), inputs.text("segments"), inputs.optional_quantity("length")
    modulus = modulus_mpa(inputs, "modulus")
    if text:
        try:
            segments = parse_segments(text, thread)
        except SegmentError as error:
            raise CalculationError("segments", str(error)) from error
        return bolt_of_segments(
            thread, segments, _end(inputs, "head", "hexagon"), _end(inputs, "end", "nut"),
            modulus=modulus, part_modulus=part_modulus,
        )  # fmt: skip
    if length is None:
        raise CalculationError(
            "segments",
            "Enter the segments of the bolt",
            "A bolt with thread over its whole length needs only that length.",
        )
    for name in ("head", "end"):
        if inputs.text(name):
            raise CalculationError(name, "The ends of a bolt count only with its segments", "Enter the segments.")
    require_within("length", length, "The length", "1 mm", "5000 mm")
    millimetres, area = float(amount(length, "mm")), thread.stress_area_mm2
    share = 100 * (1 - area / thread.nominal_area_mm2)
    assumed = (
        f"Assumed: thread over the whole length, {thread.area_text}, E = {modulus:.6g} MPa, no head and no nut. "
        f"A shank of the thread size would stretch {share:.0f} % less: enter the segments of such a bolt."
    )
    return ElasticBolt(
        thread,
        BoltResilience(millimetres / area / modulus, 0),
        ((millimetres, area),),
        millimetres,
        modulus,
        assumed,
        weakest_section(thread),
    )


def bolt_of_segments(
    thread: Thread,
    segments: tuple[BoltSegment, ...],
    head: BoltEnd,
    end: BoltEnd,
    *,
    modulus: float = STEEL_MPA,
    part_modulus: float = STEEL_MPA,
) -> ElasticBolt:
    """Return the bolt with these segments and ends. Moduli are in MPa. Source: VDI 2230 (from memory)."""
    size = thread.diameter_mm
    sections = [(segment.length, segment.area(thread)) for segment in segments]
    for one in (head, end):
        if one in ("hexagon", "socket"):
            sections.append(((0.5 if one == "hexagon" else 0.4) * size, thread.nominal_area_mm2))
        elif one != "none":
            sections.append((0.5 * size, thread.root_area_mm2))
    assumed = (
        f"Assumed: {_END_TEXT[head]}; at the other end {_END_TEXT[end]}; core of the thread "
        f"{thread.root_area_mm2:.4g} mm²; E = {modulus:.6g} MPa; nothing yields."
    )
    return ElasticBolt(
        thread, bolt_resilience(thread, segments, head, end, modulus=modulus, part_modulus=part_modulus),
        tuple(sections), grip_of(segments), modulus, assumed, weakest_section(thread, segments),
    )  # fmt: skip


def _end(inputs: Inputs, name: str, default: BoltEnd) -> BoltEnd:
    text = inputs.text(name, default)
    return next(one for one in BOLT_ENDS if one == text)


def modulus_mpa(inputs: Inputs, field: str) -> float:
    """Return Young's modulus in MPa, that of steel if it was left out.

    Raises:
        CalculationError: it is not from 10 to 700 GPa.
    """
    value = inputs.optional_quantity(field)
    if value is None:
        return STEEL_MPA
    hint = "Steel has 205000 MPa, titanium 110000 MPa, cast iron 110000 MPa, aluminium 70000 MPa."
    return float(amount(require_within(field, value, "Young's modulus", "10000 MPa", "700000 MPa", hint), "MPa"))


def stress_line(newtons: float, bolt: ElasticBolt, force: str) -> ResultLine:
    """Return the line with the stress in the smallest cross-section. ``force`` is the load as text."""
    area = bolt.weakest.area
    return line("stress", f"Stress in the {bolt.weakest.name}", newtons / area, "MPa", "σ = F / A",
                f"{force} / {area:.4g} mm²")  # fmt: skip


def stiffness_line(bolt: ElasticBolt) -> ResultLine:
    """Return the line with the spring rate of the bolt between its end faces."""
    return line("stiffness", "Stiffness of the bolt", 1 / bolt.resilience.stretched, "N/mm",
                "c = E / Σ (length / area)", bolt.sections_text)  # fmt: skip


def stretch_of(force: Quantity, bolt: ElasticBolt, unit: str, grade: str = "") -> CalculationResult:
    """Return the elastic stretch of a bolt in ``unit`` under ``force``, and its stress in MPa.

    The stretch is that between the end faces. The total includes the give of the nut thread, as δS of VDI 2230 does.
    With a property class or ``grade``, the result includes the share of the proof load. Source: Hooke's law; VDI 2230
    for heads and threads.

    Raises:
        CalculationError: the force is not from 1 N to 10 MN, no bolt can carry it, or the class does not belong to the
            thread.
    """
    require_within("force", force, "The load", "1 N", "10000000 N")
    newtons = float(amount(force, "N"))
    check_stress("force", newtons / bolt.weakest.area, f"A load of {show(force)}")
    per_unit = unit_amount(unit, "mm")
    stiffness = stiffness_line(bolt)
    lines = [
        line("stretch", "Stretch between the end faces", newtons * bolt.resilience.stretched / per_unit, unit,
             "δ = F / c", f"{show(force)} / {stiffness.shown}"),
        stress_line(newtons, bolt, show(force)),
        stiffness,
    ]  # fmt: skip
    if bolt.resilience.give:
        give = newtons * bolt.resilience.give / per_unit
        lines.append(
            line("total", "With the give of the nut thread", newtons * bolt.resilience.total / per_unit, unit,
                 "δ + F × give", f"{lines[0].shown} + {give:.2g} {unit}")
        )  # fmt: skip
    compared = check_load(newtons, bolt.thread, bolt.weakest, grade, force.unit)
    return CalculationResult(
        f"Stretch of {bolt.thread.name} under {show(force)}", (*lines, *compared.lines), STRETCH_SOURCE,
        (bolt.assumed, *compared.notes), cautions=compared.cautions,
    )  # fmt: skip


def preload_from_stretch(stretch: Quantity, bolt: ElasticBolt, unit: str = "kN", grade: str = "") -> CalculationResult:
    """Return the preload in ``unit`` from a stretch measured between the end faces. Friction does not change it.

    With a property class or ``grade``, the result includes the share of the proof load. Source: Hooke's law; VDI 2230
    for heads and threads.

    Raises:
        CalculationError: the stretch is not from 0.001 to 50 mm, no bolt can carry the preload, or the class does not
            belong to the thread.
    """
    require_within("stretch", stretch, "The stretch", "0.001 mm", "50 mm")
    newtons = float(amount(stretch, "mm")) / bolt.resilience.stretched
    check_stress("stretch", newtons / bolt.weakest.area, f"A stretch of {show(stretch)}")
    stiffness = stiffness_line(bolt)
    first = line("preload", "Preload", newtons / unit_amount(unit, "N"), unit, "F = δ × c",
                 f"{show(stretch)} × {stiffness.shown}")  # fmt: skip
    compared = check_load(newtons, bolt.thread, bolt.weakest, grade, unit)
    notes = (bolt.assumed, "Measure the stretch between the end faces, before and after, at one temperature.")
    return CalculationResult(
        f"Preload of {bolt.thread.name} from its stretch",
        (first, stress_line(newtons, bolt, first.shown), stiffness, *compared.lines), STRETCH_SOURCE,
        (*notes, *compared.notes), cautions=compared.cautions,
    )  # fmt: skip


def effective_length(
    thread: Thread, grip: Quantity, shank: Quantity, head: Quantity, nut: Quantity, shank_diameter: Quantity | None
) -> CalculationResult:
    """Return the length of a threaded rod that stretches as much as the bolt, in the unit of ``grip``.

    LB = (dts/d)² (LS + HB/2) + LJ − LS + HN/2. ``grip`` LJ is the thickness of the joint, ``shank`` LS the plain length
    of the bolt in it. ``head`` HB and ``nut`` HN are their heights. dts is the diameter of a circle with the stress
    area. ``shank_diameter`` d is by default that of the thread. Source: MIL-HDBK-60 form, as an engineering reference
    prints it.

    Raises:
        CalculationError: the grip is not from 1 mm to 5 m, the shank diameter is not from 0.6 to 1.5 times the thread
            size, a height is below zero or above twice the thread size, or the shank is below zero or longer than the
            grip.
    """
    require_within("grip", grip, "The grip", "1 mm", "5000 mm")
    lj, ls, hb, hn = (float(amount(one, "mm")) for one in (grip, shank, head, nut))
    if not 0 <= ls <= lj:
        raise CalculationError(
            "shank", f"The plain shank must be from zero to the grip of {show(grip)}, not {show(shank)}"
        )
    for field, height, label in (("head", head, "The head"), ("nut", nut, "The nut")):
        require_not_negative(field, height, label)
        if amount(height, "mm") > 2 * thread.diameter_mm:
            raise CalculationError(
                field,
                f"{label} of a bolt {thread.name} cannot be {show(height)} high",
                "Check the number and its unit.",
            )
    stress_diameter = sqrt(4 * thread.stress_area_mm2 / pi)
    d = thread.diameter_mm
    if shank_diameter is not None:
        d = float(amount(require_positive("shank-diameter", shank_diameter, "The shank"), "mm"))
        if not 0.6 <= d / thread.diameter_mm <= 1.5:
            raise CalculationError(
                "shank-diameter", f"A shank of {show(shank_diameter)} does not belong to a bolt {thread.name}",
                "It has 0.6 to 1.5 times the thread size. Check the number and its unit.",
            )  # fmt: skip
    ratio = stress_diameter / d
    value = (ratio**2 * (ls + hb / 2) + lj - ls + hn / 2) / unit_amount(grip.unit, "mm")
    filled = f"{ratio:.3f}² × ({show(shank)} + {show(head)} / 2) + {show(grip)} − {show(shank)} + {show(nut)} / 2"
    first = line("length", "Effective length", value, grip.unit, "(dts/d)² × (LS + HB/2) + LJ − LS + HN/2", filled)
    assumed = (
        f"Assumed: a shank of {d:.4g} mm; on the rest of the grip thread with the stress area ({thread.area_text}, "
        f"dts = {stress_diameter:.4g} mm); half of the head and half of the nut."
    )
    return CalculationResult(f"Effective length of {thread.name}", (first,), HANDBOOK, (assumed,))


# --- fields -----------------------------------------------------------------------------------------

_SEGMENTS = InputField(
    "segments", "Segments within the grip (length x diameter)", TextInput(), "shank 80 x 10 mm, thread 15 mm",
    optional=True, in_example=True,
)  # fmt: skip
_LENGTH = InputField(
    "length", "Or: length of a bolt that is all thread", QuantityInput("length", "mm"), "100 mm", optional=True,
    instead_of="segments",
)  # fmt: skip
MODULUS_FIELD = InputField(
    "modulus", "Young's modulus of the bolt (default: steel)", QuantityInput("pressure", "MPa"), "205000 MPa",
    optional=True,
)  # fmt: skip
BOLT_FIELDS = (
    THREAD_FIELD, _SEGMENTS,
    InputField("head", "Head (default: hexagon)", WordInput(BOLT_ENDS), "hexagon", optional=True),
    InputField("end", "Other end (default: nut)", WordInput(BOLT_ENDS), "nut", optional=True),
    _LENGTH, MODULUS_FIELD,
)  # fmt: skip
"""The fields of :func:`elastic_bolt`."""


def _length_unit(inputs: Inputs) -> str:
    length = inputs.optional_quantity("length")
    return inputs.thread().unit if length is None else length.unit


def _effective_length(inputs: Inputs) -> CalculationResult:
    grip, shank, head, nut = inputs.quantities("grip", "shank", "head", "nut")
    return effective_length(inputs.thread(), grip, shank, head, nut, inputs.optional_quantity("shank-diameter"))


STRETCH_CALCULATIONS = (
    Calculation(
        "stretch", "Stretch of a bolt under load",
        (InputField("force", "Load", QuantityInput("force", "kN"), "45 kN"), *BOLT_FIELDS, CLASS_FIELD),
        lambda inputs: stretch_of(
            inputs.quantity("force"), elastic_bolt(inputs), _length_unit(inputs), inputs.text("class")
        ),
        STRETCH_SOURCE,
    ),
    Calculation(
        "preload-from-stretch", "Preload from measured stretch",
        (length_field("stretch", "Measured stretch", "0.15 mm"), *BOLT_FIELDS, CLASS_FIELD, FORCE_UNIT_FIELD),
        lambda inputs: preload_from_stretch(
            inputs.quantity("stretch"), elastic_bolt(inputs), inputs.text("unit", "kN"), inputs.text("class")
        ),
        STRETCH_SOURCE,
    ),
    Calculation(
        "effective-length", "Length of a bolt that stretches",
        (
            THREAD_FIELD, length_field("grip", "Grip: thickness of the joint", "80 mm"),
            length_field("shank", "Plain shank within the grip", "50 mm"),
            length_field("head", "Height of the head", "6.4 mm"), length_field("nut", "Height of the nut", "8.0 mm"),
            length_field("shank-diameter", "Diameter of the shank (default: thread size)", "10 mm", optional=True),
        ),
        _effective_length, HANDBOOK,
    ),
)  # fmt: skip
