"""Estimates for a joint at a torque: share of the proof load, stretch of the bolt."""

from benchflow.procedure.model import GripSegment, Joint
from benchflow.quantity import Quantity, base
from benchflow.trade.calculations.bolt_resilience import SegmentError, bolt_resilience, parse_segments
from benchflow.trade.calculations.bolt_torque import preload_of
from benchflow.trade.calculations.result import CalculationError
from benchflow.trade.calculations.threads import Thread, ThreadError, parse_thread


def thread_of(joint: Joint) -> Thread | None:
    """The thread of a joint; ``None`` if it is not stated or not known."""
    try:
        return parse_thread(joint.thread) if joint.thread else None
    except ThreadError:
        return None


def proof_share(joint: Joint, torque: Quantity) -> float | None:
    """The estimated preload as a share of the proof load; ``None`` if thread, class or nut factor is not known."""
    found = _preload(joint, torque)
    return None if found is None else found[1]


def stretch_text(joint: Joint, torque: Quantity) -> str:
    """A line with the estimated stretch at ``torque``; "" without a preload or a `grip`.

    The head is taken as a hexagon and the other end as a nut. Source: VDI 2230 part 1, 5.1.1 (from memory).
    """
    found, thread = _preload(joint, torque), thread_of(joint)
    if found is None or thread is None or not joint.grip or grip_problem(joint):
        return ""
    resilience = bolt_resilience(thread, parse_segments(_segments_text(joint.grip), thread))
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
        return preload_of(torque, thread, joint.nut_factor, joint.grade)
    except CalculationError:
        return None


def _segments_text(grip: tuple[GripSegment, ...]) -> str:
    """The segments in mm, as :func:`parse_segments` reads them."""
    parts = []
    for segment in grip:
        sizes = [f"{float(base(size) * 1000):.6g}" for size in (segment.length, segment.diameter) if size is not None]
        parts.append(f"{segment.kind} {' x '.join(sizes)} mm")
    return ", ".join(parts)
