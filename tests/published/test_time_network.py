"""The worked network of R. Dechter, I. Meiri, J. Pearl: Temporal constraint networks (1991).

The constraints are from the test files of the library metacsp. Their last constraint has the wrong sign, which is
corrected here. The table of distances was computed by the algorithm of Floyd and Warshall. It equals the table of the
paper (from memory).
"""

from collections.abc import Hashable
from itertools import permutations

import networkx
import pytest

from benchflow.ordering.time_network import Between, contradicts, times

# Points: 0 = 7:00, 1 John leaves, 2 John arrives, 3 Fred leaves, 4 Fred arrives; minutes. John by car, Fred by carpool.
STORY = [
    Between(0, 1, 10, 20),
    Between(1, 2, 30, 40),
    Between(3, 2, 10, 20),
    Between(3, 4, 40, 50),
    Between(0, 4, 60, 70),
]
POINTS = range(5)


# The largest number of minutes from the point of the row to the point of the column.
PUBLISHED = [
    [0, 20, 50, 30, 70],
    [-10, 0, 40, 20, 60],
    [-40, -30, 0, -10, 30],
    [-20, -10, 20, 0, 50],
    [-60, -50, -20, -40, 0],
]


@pytest.mark.parametrize(("first", "then"), list(permutations(POINTS, 2)))
def test_published_distance_is_the_largest_that_the_network_allows(first: int, then: int) -> None:
    most = PUBLISHED[first][then]
    assert not contradicts(POINTS, [*STORY, Between(first, then, least=most)])
    assert contradicts(POINTS, [*STORY, Between(first, then, least=most + 1)])


def test_fred_left_between_7_20_and_7_30_and_john_arrived_between_7_40_and_7_50() -> None:
    for point, earliest, latest in ((3, 20, 30), (2, 40, 50)):
        for minute in (earliest, latest):
            assert not contradicts(POINTS, [*STORY, Between(0, point, minute, minute)])
        for minute in (earliest - 1, latest + 1):
            assert contradicts(POINTS, [*STORY, Between(0, point, minute, minute)])


def test_times_keep_every_bound() -> None:
    found = times(POINTS, STORY)
    assert found is not None
    assert all(each.least <= found[each.then] - found[each.first] <= each.most for each in STORY)


def test_network_contradicts_itself_exactly_if_networkx_finds_a_negative_cycle() -> None:
    # John goes by car (30 to 40) or by bus (at least 60). Fred goes by car (20 to 30) or by carpool (40 to 50).
    for john in ((30.0, 40.0), (60.0, float("inf"))):
        for fred in ((20.0, 30.0), (40.0, 50.0)):
            network = [STORY[0], Between(1, 2, *john), STORY[2], Between(3, 4, *fred), STORY[4]]
            graph: networkx.DiGraph[Hashable] = networkx.DiGraph()
            for each in network:
                if each.most < float("inf"):
                    graph.add_edge(each.first, each.then, weight=each.most)
                graph.add_edge(each.then, each.first, weight=-each.least)
            negative = networkx.negative_edge_cycle(graph)
            assert contradicts(POINTS, network) == negative
