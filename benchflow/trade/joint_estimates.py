"""Estimates for a joint at a torque: share of the proof load, stretch of the bolt."""

from decimal import Decimal

from msgspec import Struct

from benchflow.procedure.model import GripSegment, Joint
from benchflow.quantity import Quantity, base
from benchflow.trade.calculations.bolt_resilience import (
    BoltSegment,
    SegmentError,
    WeakestSection,
    bolt_resilience,
    parse_segments,
    weakest_section,
)
from benchflow.trade.calculations.bolt_strength import BoltStrength, find_strength
from benchflow.trade.calculations.bolt_torque import preload_of, preload_text
from benchflow.trade.calculations.result import CalculationError
from benchflow.trade.calculations.threads import Thread, ThreadError, parse_thread


def thread_of(joint: Joint) -> Thread | None:
    """The thread of a joint; ``None`` if it is not stated or not known."""
    try:
        return parse_thread(joint.thread) if joint.thread else None
    except ThreadError:
        return None


def proof_share(joint: Joint, torque: Quantity) -> float | None:
    """The estimated preload as a share of the proof load; ``None`` if thread, class or nut factor is not known.

    A neck or thin shank in the `grip` decides if it carries less than the thread.
    """
    found = _preload(joint, torque)
    return None if found is None else found[1]


STRONGEST = BoltStrength("steel of the highest strength", 1500.0, 1830.0, 1650.0, "own rule: 1.5 times class 12.9")
"""The strength of a fastener whose class is not stated, in MPa. It is more than any bolt in an engine has."""

HIGHEST_FACTOR = Decimal("0.3")
"""The nut factor where none is stated: of a dry, rough thread, so that the preload is not overestimated (own rule)."""


class BreakingLoad(Struct, frozen=True):
    """The estimated preload of a fastener at a torque, and the load at which it breaks, in N."""

    preload: float
    breaking: float


def breaking_load(joint: Joint, torque: Quantity) -> BreakingLoad | None:
    """The estimated preload at ``torque`` and the breaking load of the fastener; ``None`` if its thread is not known.

    The breaking load is the tensile strength times the weakest cross-section (ISO 898-1 for the thread). Without a
    known class the strongest steel is assumed, without a nut factor a high one: more is then surely a misprint.
    """
    thread = thread_of(joint)
    if thread is None:
        return None
    strength = (find_strength(joint.grade, thread) if joint.grade else None) or STRONGEST
    section = weakest_of(joint, thread)
    try:
        newtons, _ = preload_of(torque, thread, joint.nut_factor or HIGHEST_FACTOR, "", section)
    except CalculationError:
        return None
    return BreakingLoad(newtons, strength.tensile * min(section.area, thread.stress_area_mm2))


def joint_preload_text(joint: Joint, torque: Quantity) -> str:
    """The line of :func:`.preload_text` for a joint; "" if its thread or nut factor is missing or not known."""
    thread = thread_of(joint)
    if thread is None or joint.nut_factor is None:
        return ""
    try:
        return preload_text(torque, thread, joint.nut_factor, joint.grade, weakest_of(joint, thread))
    except CalculationError:
        return ""


def weakest_of(joint: Joint, thread: Thread) -> WeakestSection:
    """The weakest cross-section of the fasteners: the thread, or a thinner segment of the `grip`."""
    return weakest_section(thread, _segments(joint, thread))


def stretch_text(joint: Joint, torque: Quantity) -> str:
    """A line with the estimated stretch at ``torque``; "" without a preload or a `grip`.

    The head is taken as a hexagon and the other end as a nut. Source: VDI 2230 part 1, 5.1.1 (from memory).
    """
    found, thread = _preload(joint, torque), thread_of(joint)
    segments = () if thread is None else _segments(joint, thread)
    if found is None or thread is None or not segments:
        return ""
    resilience = bolt_resilience(thread, segments)
    stretch = found[0] * resilience.stretched
    return f"Stretch about {stretch:.2g} mm ± 25 % (grip as stated, steel, hexagon head and nut assumed)"


def grip_problem(joint: Joint) -> str:
    """Why the `grip` cannot belong to a bolt with the joint's thread; "" if it can, or if the thread is not known."""
    thread = thread_of(joint)
    if not joint.grip or thread is None:
        return ""
    try:
        parse_segments(_segments_text(joint.grip), thread)
    except SegmentError as error:
        return str(error)
    return ""


def _preload(joint: Joint, torque: Quantity) -> tuple[float, float | None] | None:
    """The preload in N and its share of the proof load; ``None`` if thread or nut factor is not known."""
    thread = thread_of(joint)
    if thread is None or joint.nut_factor is None:
        return None
    try:
        return preload_of(torque, thread, joint.nut_factor, joint.grade, weakest_of(joint, thread))
    except CalculationError:
        return None


def _segments(joint: Joint, thread: Thread) -> tuple[BoltSegment, ...]:
    """The segments of the `grip`; none if it is not stated, or cannot belong to the thread."""
    try:
        return parse_segments(_segments_text(joint.grip), thread) if joint.grip else ()
    except SegmentError:
        return ()


def _segments_text(grip: tuple[GripSegment, ...]) -> str:
    """The segments in mm, as :func:`parse_segments` reads them."""
    parts = []
    for segment in grip:
        sizes = [f"{float(base(size) * 1000):.6g}" for size in (segment.length, segment.diameter) if size is not None]
        parts.append(f"{segment.kind} {' x '.join(sizes)} mm")
    return ", ".join(parts)
