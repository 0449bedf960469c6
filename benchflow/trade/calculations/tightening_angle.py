"""Tightening by angle: the angle for a stress, the preload from an angle, and the travel of a nut.

The angle stretches the bolt and compresses the joint. A rigid joint is a limit, not a joint: it needs the smallest
angle. The formulas hold below the proof load.
"""

from msgspec import Struct

from benchflow.quantity import Quantity, show
from benchflow.trade.calculations.bolt_load import CLASS_FIELD, check_load, check_stress
from benchflow.trade.calculations.bolt_resilience import ClampedParts, clamped_parts, preload_per_degree
from benchflow.trade.calculations.bolt_stretch import (
    BOLT_FIELDS,
    HANDBOOK,
    ElasticBolt,
    elastic_bolt,
    modulus_mpa,
    stiffness_line,
    stress_line,
)
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import (
    FORCE_UNIT_FIELD,
    THREAD_FIELD,
    Calculation,
    InputField,
    Inputs,
    QuantityInput,
    angle_field,
    length_field,
)
from benchflow.trade.calculations.result import CalculationError, CalculationResult, ResultLine, line
from benchflow.trade.calculations.threads import Thread
from benchflow.trade.rounding import amount, unit_amount

ANGLE_SOURCE = "lead of the thread; resilience of bolt and joint after VDI 2230 part 1, 5.1 (from memory)"
_RIGID = "Assumed: a rigid joint. A real joint gives way and needs more angle: enter its stiffness, or its diameters."


class ElasticJoint(Struct, frozen=True):
    """The clamped parts as a spring. ``resilience`` is in mm/N. ``filled`` says where it comes from, with numbers."""

    resilience: float
    formula: str
    filled: str
    assumed: str


def elastic_joint(inputs: Inputs, bolt: ElasticBolt) -> ElasticJoint | None:
    """Return the joint of the fields :data:`JOINT_FIELDS`, ``None`` if they were left out.

    Raises:
        CalculationError: only some of the fields are there, or they contradict each other.
    """
    stiffness = inputs.optional_quantity("joint-stiffness")
    names = ("bearing-diameter", "hole-diameter", "joint-diameter")
    diameters = [inputs.optional_quantity(name) for name in names]
    modulus = inputs.optional_quantity("joint-modulus")
    if stiffness is not None:
        require_within("joint-stiffness", stiffness, "The stiffness of a joint", "1000 N/mm", "100000000 N/mm")
        for name, value in zip((*names, "joint-modulus"), (*diameters, modulus), strict=True):
            if value is not None:
                raise CalculationError(name, "This is not used if the stiffness of the joint is given", "Leave it out.")
        rate = float(amount(stiffness, "N/mm"))
        return ElasticJoint(1 / rate, "as given", show(stiffness), f"Assumed: a joint of {show(stiffness)}, as given.")
    if all(value is None for value in (*diameters, modulus)):
        return None
    bearing, hole, outside = diameters
    for name, value in zip(names, diameters, strict=True):
        if value is None:
            raise CalculationError(
                name, "The bearing face, the hole and the joint are needed together", "Enter all three diameters."
            )
    assert bearing is not None
    assert hole is not None
    assert outside is not None
    return _joint_of_cone(inputs, bolt, bearing, hole, outside)


def _joint_of_cone(
    inputs: Inputs, bolt: ElasticBolt, bearing: Quantity, hole: Quantity, outside: Quantity
) -> ElasticJoint:
    head, width, largest = (float(amount(one, "mm")) for one in (bearing, hole, outside))
    check_head_and_hole(bolt.thread, bearing, hole)
    require_within("joint-diameter", outside, "The diameter of the joint", "1 mm", "1000 mm")
    if largest <= width:
        raise CalculationError(
            "joint-diameter", f"A joint of {show(outside)} cannot have a hole of {show(hole)}",
            "Enter the diameter of the largest circle round the bolt that the parts fill.",
        )  # fmt: skip
    modulus = modulus_mpa(inputs, "joint-modulus")
    tapped = "tapped" in (inputs.text("head"), inputs.text("end"))
    parts = clamped_parts(bolt.grip, head, width, largest, tapped=tapped, modulus=modulus)
    return ElasticJoint(
        parts.resilience, "c = 1 / δP of VDI 2230: " + parts.body,
        f"{modulus:.6g} MPa, grip {bolt.grip:.4g} mm, {show(bearing)}/{show(hole)}/{show(outside)}",
        _cone_text(parts, bolt, head, tapped, modulus),
    )  # fmt: skip


def _cone_text(parts: ClampedParts, bolt: ElasticBolt, bearing: float, tapped: bool, modulus: float) -> str:
    where = "below the head, above a tapped hole" if tapped else "below head and nut"
    cone = "" if parts.body == "sleeve" else f" (tan φ = {parts.cone_tangent:.3f}, {where})"
    text = (
        f"Assumed: the joint carries as a {parts.body}{cone}, concentric, of one material with E = {modulus:.6g} MPa."
    )
    if not 0.5 <= bolt.grip / bearing <= 10:
        text += " The grip is outside 0.5 to 10 bearing diameters, where the cone is less certain (own rule)."
    return text


def check_head_and_hole(thread: Thread, bearing: Quantity, hole: Quantity) -> None:
    """Check the diameters of the bearing face and of the hole below it.

    Raises:
        CalculationError: a diameter does not belong to the thread, or the hole is not smaller than the bearing face.
    """
    size = thread.diameter_mm
    for field, value, label, low, high in (
        ("bearing-diameter", bearing, "bearing face", 1.1, 4.0), ("hole-diameter", hole, "hole", 0.95, 2.0)
    ):  # fmt: skip
        if not low <= amount(value, "mm") / size <= high:
            raise CalculationError(
                field, f"A {label} of {show(value)} does not belong to a bolt {thread.name}",
                f"It has {low:g} to {high:g} times the thread size. Check the number and its unit.",
            )  # fmt: skip
    if amount(hole, "mm") >= amount(bearing, "mm"):
        raise CalculationError(
            "hole-diameter", f"A hole of {show(hole)} is not smaller than a bearing face of {show(bearing)}",
            "Enter the outer diameter of the face below the head, and the diameter of the hole.",
        )  # fmt: skip


# --- calculations -----------------------------------------------------------------------------------


def angle_for(
    stress: Quantity, bolt: ElasticBolt, joint: ElasticJoint | None = None, grade: str = ""
) -> CalculationResult:
    """Return the angle from snug to ``stress`` in degrees, and the stretch in mm and the preload in kN at that stress.

    ``stress`` is that in the stress area of the thread. With a property class or ``grade``, the result includes the
    share of the proof load. θ = 360° F (δS + δP) / P with F = f As. For a bolt that is all
    thread in a rigid joint this is the form of MIL-HDBK-60, θ = 360° f L / (E P). Source: lead of the thread; VDI 2230
    for δS and δP.

    Raises:
        CalculationError: the stress is not from 1 to 2500 MPa, no bolt can carry the preload, or the class does not
            belong to the thread.
    """
    require_within("stress", stress, "The stress", "1 MPa", "2500 MPa")
    thread = bolt.thread
    newtons = float(amount(stress, "MPa")) * thread.stress_area_mm2
    check_stress("stress", newtons / bolt.weakest.area, f"A stress of {show(stress)}")
    compared = check_load(newtons, thread, bolt.weakest, grade, "kN")
    give = 0.0 if joint is None else joint.resilience
    degrees = 360 * newtons * (bolt.resilience.total + give) / thread.pitch_mm
    preload = line("preload", "Preload", newtons / 1000, "kN", "F = f × As", f"{show(stress)} × {thread.area_text}")
    lines = [
        line("angle", "Angle from snug", degrees, "°", "θ = 360° × F × (δS + δP) / P",
             f"360° × {preload.shown} × ({_resilience_text(bolt, give)}) / {thread.pitch:.4g} {thread.unit}"),
        line("stretch", "Stretch between the end faces", newtons * bolt.resilience.stretched, "mm", "δ = F / c",
             f"{preload.shown} / {stiffness_line(bolt).shown}"),
        preload,
        *((stress_line(newtons, bolt, preload.shown),) if bolt.weakest.name != "thread" else ()),
        stiffness_line(bolt), *_joint_lines(joint), *compared.lines,
    ]  # fmt: skip
    notes = (bolt.assumed, _RIGID if joint is None else joint.assumed, _SNUG, *compared.notes)
    title = f"Angle for {thread.name}"
    return CalculationResult(title, tuple(lines), ANGLE_SOURCE, notes, cautions=compared.cautions)


_SNUG = "Count the angle from snug: all faces touch, and the preload at snug is in addition."


def preload_from_angle(
    angle: Quantity, bolt: ElasticBolt, joint: ElasticJoint, snug: Quantity | None, grade: str, unit: str = "kN"
) -> CalculationResult:
    """Return the preload in ``unit`` after turning by ``angle`` from snug: F = F0 + θ P / (360° (δS + δP)).

    ``snug`` F0 is the preload at snug, by default zero. With a property class or ``grade``, the result includes the
    proof load and the share of it. Source: lead of the thread; VDI 2230 for δS and δP.

    Raises:
        CalculationError: the angle is not from 0.1° to 720°, the preload at snug is below zero or too high, no bolt can
            carry the preload, or the class does not belong to the thread.
    """
    require_within("angle", angle, "The angle", "0.1°", "720°")
    if snug is not None:
        require_within("snug", snug, "The preload at snug", "0 N", "5000000 N")
    thread = bolt.thread
    added = float(amount(angle, "°")) * preload_per_degree(thread, bolt.resilience, joint.resilience)
    newtons = added + (0.0 if snug is None else float(amount(snug, "N")))
    check_stress("angle", newtons / bolt.weakest.area, f"An angle of {show(angle)}")
    compared = check_load(newtons, thread, bolt.weakest, grade, unit)
    per_unit = unit_amount(unit, "N")
    start = "" if snug is None else f"{show(snug)} + "
    first = line("preload", "Preload after the angle", newtons / per_unit, unit, "F = F0 + θ × P / (360° × (δS + δP))",
                 f"{start}{show(angle)} × {thread.pitch:.4g} {thread.unit} / "
                 f"(360° × ({_resilience_text(bolt, joint.resilience)}))")  # fmt: skip
    added_if_rigid = float(amount(angle, "°")) * preload_per_degree(thread, bolt.resilience, 0)
    rigid = (newtons - added + added_if_rigid) / per_unit
    lines = [
        first, stress_line(newtons, bolt, first.shown),
        line("stretch", "Stretch between the end faces", newtons * bolt.resilience.stretched, "mm", "δ = F / c",
             f"{first.shown} / {stiffness_line(bolt).shown}"),
        stiffness_line(bolt), *_joint_lines(joint),
        line("rigid", "In a rigid joint it would be", rigid, unit, "δP = 0", f"{start}the angle on the bolt alone"),
    ]  # fmt: skip
    notes = [bolt.assumed, joint.assumed, _SNUG]
    if snug is None:
        notes.append("Assumed: no preload at snug. The snug torque adds its own preload.")
    return CalculationResult(
        f"Preload of {thread.name} from {show(angle)}", (*lines, *compared.lines), ANGLE_SOURCE,
        (*notes, *compared.notes), cautions=compared.cautions,
    )  # fmt: skip


def _resilience_text(bolt: ElasticBolt, give: float) -> str:
    """Return δS + δP as text, in nm/N."""
    return f"{bolt.resilience.total * 1e6:.4g} + {give * 1e6:.4g} nm/N"


def _joint_lines(joint: ElasticJoint | None) -> tuple[ResultLine, ...]:
    if joint is None:
        return ()
    return (
        line("joint-stiffness", "Stiffness of the joint", 1 / joint.resilience, "N/mm", joint.formula, joint.filled),
    )


def nut_travel(thread: Thread, angle: Quantity) -> CalculationResult:
    """Return the travel of a nut along the thread when it is turned by ``angle``, in the unit of the thread.

    Source: geometry (the lead of the thread).

    Raises:
        CalculationError: the angle is not from 0.1° to 100 turns.
    """
    require_within("angle", angle, "The angle", "0.1°", "36000°")
    travel = line("travel", "Travel of the nut", thread.pitch * float(amount(angle, "°")) / 360, thread.unit,
                  "P × θ / 360°", f"{thread.pitch:.4g} {thread.unit} × {show(angle)} / 360°")  # fmt: skip
    note = "Assumed: a single-start thread. The travel is stretch of the bolt and compression of the joint together."
    return CalculationResult(f"Travel of {thread.name} over {show(angle)}", (travel,), "lead of the thread", (note,))


# --- fields -----------------------------------------------------------------------------------------

BEARING_FIELD = length_field("bearing-diameter", "Bearing face below the head", "14.6 mm", optional=True)
HOLE_FIELD = length_field("hole-diameter", "Hole", "11 mm", optional=True)
JOINT_FIELDS = (
    BEARING_FIELD, HOLE_FIELD,
    length_field("joint-diameter", "Circle that the parts fill round the bolt", "40 mm", optional=True),
    InputField("joint-modulus", "Young's modulus of the joint (default: steel)", QuantityInput("pressure", "MPa"),
               "110000 MPa", optional=True),
    InputField("joint-stiffness", "Or: stiffness of the joint", QuantityInput("stiffness", "N/mm"), "600000 N/mm",
               optional=True, instead_of="bearing-diameter"),
)  # fmt: skip
"""The fields of :func:`elastic_joint`."""

_JOINT_IN_EXAMPLE = tuple(
    InputField(one.name, one.ask, one.kind, one.example, one.optional, one.name.endswith("diameter"), one.instead_of)
    for one in JOINT_FIELDS
)


def _part_modulus(inputs: Inputs) -> float:
    return modulus_mpa(inputs, "joint-modulus")


def _angle(inputs: Inputs) -> CalculationResult:
    bolt = elastic_bolt(inputs, part_modulus=_part_modulus(inputs))
    return angle_for(inputs.quantity("stress"), bolt, elastic_joint(inputs, bolt), inputs.text("class"))


def _preload_from_angle(inputs: Inputs) -> CalculationResult:
    bolt = elastic_bolt(inputs, part_modulus=_part_modulus(inputs))
    joint = elastic_joint(inputs, bolt)
    if joint is None:
        raise CalculationError(
            "joint-diameter", "Enter the bearing face, the hole and the diameter of the joint, or its stiffness",
            "Without them the preload would come out too high.",
        )  # fmt: skip
    return preload_from_angle(
        inputs.quantity("angle"), bolt, joint, inputs.optional_quantity("snug"), inputs.text("class"),
        inputs.text("unit", "kN"),
    )  # fmt: skip


ANGLE_CALCULATIONS = (
    Calculation(
        "angle", "Angle from snug for a stress",
        (
            InputField("stress", "Stress in the thread", QuantityInput("pressure", "MPa"), "620 MPa"), *BOLT_FIELDS,
            *JOINT_FIELDS, CLASS_FIELD,
        ),
        _angle, f"{ANGLE_SOURCE}; {HANDBOOK}",
    ),
    Calculation(
        "preload-from-angle", "Preload from the tightening angle, with the stiffness of bolt and joint",
        (
            angle_field("angle", "Angle from snug", "60°"), *BOLT_FIELDS, *_JOINT_IN_EXAMPLE,
            InputField("snug", "Preload at snug", QuantityInput("force", "kN"), "10 kN", optional=True),
            CLASS_FIELD, FORCE_UNIT_FIELD,
        ),
        _preload_from_angle, ANGLE_SOURCE,
    ),
    Calculation(
        "nut-travel", "Travel of a nut along the thread",
        (THREAD_FIELD, angle_field("angle", "Angle", "90°")),
        lambda inputs: nut_travel(inputs.thread(), inputs.quantity("angle")),
        "lead of the thread",
    ),
)  # fmt: skip
