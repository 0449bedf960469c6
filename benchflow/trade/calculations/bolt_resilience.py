"""A bolt as segments (shank, neck, thread), its elastic resilience, and that of the parts it clamps.

Resilience is the deformation per load, in mm/N: the inverse of a stiffness. Lengths and diameters are floats in mm,
Young's moduli in MPa. Nothing here yields: the formulas apply below the proof load.

Source of all formulas: VDI 2230 part 1, sections 5.1.1 and 5.1.2 (from memory; the cone angles as several published
implementations print them).
"""

import re
from math import log, pi
from typing import Literal, get_args

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.quantity import Quantity, QuantityError, base, parse_quantity
from benchflow.trade.calculations.threads import Thread

STEEL_MPA = 205_000.0
"""Young's modulus of steel in MPa. 200 to 210 GPa is usual (common practice, no source)."""

SegmentKind = Literal["shank", "neck", "thread"]
BoltEnd = Literal["hexagon", "socket", "nut", "tapped", "none"]
"""What holds an end of the bolt. A stud has ``nut`` or ``tapped`` at both ends. ``none`` leaves the end out."""

BOLT_ENDS: tuple[BoltEnd, ...] = get_args(BoltEnd)

_HEAD_LENGTH: dict[BoltEnd, float] = {"hexagon": 0.5, "socket": 0.4}
"""Length of a shank that stretches as much as the head, per thread size (VDI 2230, from memory)."""

_NUT_LENGTH: dict[BoltEnd, float] = {"nut": 0.4, "tapped": 0.33}
"""Length of a shank that gives as much as the nut thread, per thread size (VDI 2230, from memory)."""

_ENGAGED_LENGTH = 0.5
"""Length of the thread core that stretches as much as the engaged thread, per thread size (VDI 2230, from memory)."""

HOW_TO_WRITE_SEGMENTS = "Write them like: shank 80 x 10 mm, neck 20 x 8.5 mm, thread 15 mm"


class SegmentError(BenchflowError):
    """Segments of a bolt that cannot be read or cannot exist. The message shows how to write them."""


class BoltSegment(Struct, frozen=True):
    """A length of the bolt within the grip. ``diameter`` is that of the shank or neck, or the size of the thread."""

    kind: SegmentKind
    length: float
    diameter: float

    def area(self, thread: Thread) -> float:
        """Return the cross-section in mm². A thread has the area of its core (d3), as in VDI 2230."""
        return thread.root_area_mm2 if self.kind == "thread" else pi / 4 * self.diameter**2


class BoltResilience(Struct, frozen=True):
    """Resilience of a bolt in mm/N.

    ``stretched`` is that of the bolt between its end faces: segments, head and engaged thread. ``give`` is that of the
    nut or the tapped hole. It does not lengthen the bolt, but it takes a part of the tightening angle.
    """

    stretched: float
    give: float

    @property
    def total(self) -> float:
        """δS of VDI 2230: stretch of the bolt and give of the nut thread."""
        return self.stretched + self.give


class WeakestSection(Struct, frozen=True):
    """The cross-section of a bolt that carries least: its name, and its area in mm². That of a thread is As."""

    name: SegmentKind
    area: float


class ClampedParts(Struct, frozen=True):
    """Resilience of the clamped parts in mm/N.

    ``body`` is the body that carries the load. ``cone_tangent`` is tan φ of the cone, zero for a sleeve.
    """

    resilience: float
    body: Literal["cone", "cone and sleeve", "sleeve"]
    cone_tangent: float


# --- segments ---------------------------------------------------------------------------------------

_TIMES = re.compile(r"\s*[x×*Øø⌀]\s*")
_SEGMENT = re.compile(r"(shank|neck|thread)\b\s*(.*)", re.IGNORECASE | re.DOTALL)
_MOST_SEGMENTS = 12


def parse_segments(text: str, thread: Thread) -> tuple[BoltSegment, ...]:
    """Parse the segments of a bolt within the grip: ``shank 80 x 10 mm, neck 20 x 8.5 mm, thread 15 mm``.

    The first number is the length, the second the diameter. A shank without a diameter has the thread size. A thread
    has no second number. The lengths together are the grip: from the head to the nut or the tapped thread.

    Raises:
        SegmentError: the text cannot be read, or ``thread`` cannot have such a segment.
    """
    parts = [part.strip() for part in re.split(r"[,;]", text) if part.strip()]
    if not parts:
        raise SegmentError(f"There are no segments. {HOW_TO_WRITE_SEGMENTS}.")
    if len(parts) > _MOST_SEGMENTS:
        raise SegmentError(f"A bolt has at most {_MOST_SEGMENTS} segments, but these are {len(parts)}.")
    return tuple(_segment(part, thread) for part in parts)


def _segment(text: str, thread: Thread) -> BoltSegment:
    found = _SEGMENT.fullmatch(text)
    numbers = _TIMES.split(found[2].strip()) if found else []
    if found is None or not numbers[0] or len(numbers) > 2:
        raise SegmentError(f"“{text}” is not a segment of a bolt. {HOW_TO_WRITE_SEGMENTS}.")
    kind: SegmentKind = _KINDS[found[1].lower()]
    if kind == "thread" and len(numbers) == 2:
        raise SegmentError(f"“{text}” has a diameter, but a thread has the size of {thread.name}. Leave it out.")
    if kind == "neck" and len(numbers) == 1:
        raise SegmentError(f"“{text}” needs the diameter of the neck. {HOW_TO_WRITE_SEGMENTS}.")
    try:
        last = parse_quantity(numbers[-1], dimension="length")
        first = parse_quantity(numbers[0], unit=last.unit, dimension="length")
    except QuantityError as error:
        raise SegmentError(f"“{text}”: {error} {HOW_TO_WRITE_SEGMENTS}.") from error
    return _checked_segment(text, kind, _mm(first), _mm(last) if len(numbers) == 2 else None, thread)


_KINDS: dict[str, SegmentKind] = {kind: kind for kind in get_args(SegmentKind)}


def _checked_segment(
    text: str, kind: SegmentKind, length: float, diameter: float | None, thread: Thread
) -> BoltSegment:
    size = thread.diameter_mm
    if not 0 < length <= 200 * size:
        raise SegmentError(f"“{text}” must have a length above zero, at most 200 times the thread size.")
    if diameter is None:
        return BoltSegment(kind, length, size)
    least, most = (0.4 * size, size) if kind == "neck" else (0.6 * size, 1.5 * size)
    if not least <= diameter <= most:
        raise SegmentError(
            f"“{text}”: the {kind} of a bolt {thread.name} cannot have a diameter of {diameter:.4g} mm. "
            f"It must be from {least:.3g} to {most:.3g} mm. The length comes first, then the diameter."
        )
    return BoltSegment(kind, length, diameter)


def _mm(quantity: Quantity) -> float:
    return float(base(quantity) * 1000)


def grip_of(segments: tuple[BoltSegment, ...]) -> float:
    """Return the length of all segments together in mm: the thickness of the clamped parts."""
    return sum(segment.length for segment in segments)


def weakest_section(thread: Thread, segments: tuple[BoltSegment, ...] = ()) -> WeakestSection:
    """Return the smallest cross-section: the stress area of the thread, or that of a neck or shank if it is smaller.

    Source: geometry; the thread counts with its stress area As (ISO 898-1).
    """
    of_thread = WeakestSection("thread", thread.stress_area_mm2)
    plain = [WeakestSection(one.kind, one.area(thread)) for one in segments if one.kind != "thread"]
    return min((of_thread, *plain), key=lambda section: section.area)


# --- the bolt ---------------------------------------------------------------------------------------


def bolt_resilience(
    thread: Thread,
    segments: tuple[BoltSegment, ...],
    head: BoltEnd = "hexagon",
    end: BoltEnd = "nut",
    *,
    modulus: float = STEEL_MPA,
    part_modulus: float = STEEL_MPA,
) -> BoltResilience:
    """Return the resilience of a bolt: its segments, and what holds its two ends.

    A head counts as 0.5 d of shank (hexagon) or 0.4 d (socket). An engaged thread counts as 0.5 d of its core, and in
    addition 0.4 d of shank for the nut, or 0.33 d of the part for a tapped hole. ``modulus`` is that of bolt and nut,
    ``part_modulus`` that of a part with a tapped hole. Source: VDI 2230 part 1, 5.1.1 (from memory).
    """
    size, whole = thread.diameter_mm, thread.nominal_area_mm2
    stretched = sum(segment.length / segment.area(thread) for segment in segments)
    give = 0.0
    for one in (head, end):
        stretched += _HEAD_LENGTH.get(one, 0) * size / whole
        if one in _NUT_LENGTH:
            stretched += _ENGAGED_LENGTH * size / thread.root_area_mm2
            give += _NUT_LENGTH[one] * size / whole / (part_modulus if one == "tapped" else modulus)
    return BoltResilience(stretched / modulus, give)


# --- the clamped parts ------------------------------------------------------------------------------


def clamped_parts(
    grip: float, bearing: float, hole: float, outside: float, *, tapped: bool = False, modulus: float = STEEL_MPA
) -> ClampedParts:
    """Return the resilience of concentric parts of thickness ``grip`` between head and nut.

    ``bearing`` dW is the outer diameter of the bearing face, ``hole`` dh that of the hole, ``outside`` DA that of the
    parts. The load spreads in two cones, or in one cone above a ``tapped`` hole. A cone that reaches the outside goes
    on as a sleeve. The parts have one modulus. Source: VDI 2230 part 1, 5.1.2.1 (from memory).

    Raises:
        ValueError: the diameters are not in the order hole, bearing, or no ring is left around the hole.
    """
    if not 0 < hole < bearing or outside <= hole or grip <= 0:
        raise ValueError("the hole must be smaller than the bearing face and the parts")
    if outside <= bearing:
        return ClampedParts(_sleeve(grip, hole, outside) / modulus, "sleeve", 0.0)
    cones = 2 if tapped else 1  # the factor w of VDI 2230
    slenderness, width = grip / bearing, outside / bearing
    if tapped:
        tangent = 0.348 + 0.013 * log(slenderness) + 0.193 * log(width)
    else:
        tangent = 0.362 + 0.032 * log(slenderness / 2) + 0.153 * log(width)
    tangent = max(tangent, _LEAST_TANGENT)
    widest = bearing + cones * grip * tangent
    reached = min(widest, outside)
    cone = 2 / (cones * hole * tangent * pi) * log(
        (bearing + hole) * (reached - hole) / ((bearing - hole) * (reached + hole))
    )  # fmt: skip
    if outside >= widest:
        return ClampedParts(cone / modulus, "cone", tangent)
    rest = grip - (outside - bearing) / (cones * tangent)
    return ClampedParts((cone + _sleeve(rest, hole, outside)) / modulus, "cone and sleeve", tangent)


_LEAST_TANGENT = 0.05
"""Keeps the cone a cone for a very thin joint, outside the range of the formula (own rule)."""


def _sleeve(length: float, hole: float, outside: float) -> float:
    return length / (pi / 4 * (outside**2 - hole**2))


def preload_per_degree(thread: Thread, bolt: BoltResilience, parts_resilience: float) -> float:
    """Return the preload in N that one degree of angle adds: P / 360 / (δS + δP), for an elastic joint.

    ``parts_resilience`` δP is in mm/N, zero for a rigid joint. Source: lead of the thread; VDI 2230 for δS and δP.
    """
    return thread.pitch_mm / 360 / (bolt.total + parts_resilience)
