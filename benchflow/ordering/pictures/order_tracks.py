"""Layout of the prerequisite lines on the left of the order picture, like tracks of a wiring diagram.

One track runs from each group of operations down to all groups that come after it. Tracks that overlap are drawn side
by side, on different rails. A track that only leads to the next row needs no rail.
"""

from collections.abc import Sequence

from msgspec import Struct

from benchflow.ordering.pictures.order_graph import OperationGroup


class Track(Struct, frozen=True):
    """One line from group ``source`` to the groups ``targets``, all as indices.

    ``rail`` counts from the right, so rail 0 is nearest to the numbers. ``None`` is a straight line to the next row.
    ``by_place`` are the targets in which each place waits only for the same place of the source.
    """

    source: int
    targets: tuple[int, ...]
    by_place: frozenset[int]
    rail: int | None


def lay_tracks(groups: Sequence[OperationGroup]) -> tuple[list[Track], int]:
    """The tracks, and the number of rails that they need. Short tracks are nearest to the numbers."""
    targets: dict[int, list[int]] = {}
    by_place: dict[int, set[int]] = {}
    for index, group in enumerate(groups):
        for edge in group.after:
            targets.setdefault(edge.group, []).append(index)
            if edge.by_place:
                by_place.setdefault(edge.group, set()).add(index)
    tracks: list[Track] = []
    rails: list[list[tuple[int, int]]] = []
    spans = sorted(targets.items(), key=lambda item: (max(*item[1], item[0]) - min(*item[1], item[0]), item[0]))
    for source, all_targets in spans:
        own_place = frozenset(by_place.get(source, ()))
        if source + 1 in all_targets:
            tracks.append(Track(source, (source + 1,), own_place, None))
        distant = tuple(target for target in all_targets if target != source + 1)
        if not distant:
            continue
        span = min(source, *distant), max(source, *distant)
        rail = next((i for i, used in enumerate(rails) if all(_is_apart(span, other) for other in used)), len(rails))
        if rail == len(rails):
            rails.append([])
        rails[rail].append(span)
        tracks.append(Track(source, distant, own_place, rail))
    return tracks, len(rails)


def _is_apart(one: tuple[int, int], other: tuple[int, int]) -> bool:
    return one[1] <= other[0] or other[1] <= one[0]
