"""The worked network of R. Dechter, I. Meiri, J. Pearl: Temporal constraint networks (1991).

The story as in check-values.md section 11 (SEEN in metacsp test files, whose last constraint has its sign reversed
and is not copied); its distance graph computed by Floyd and Warshall (CALC), equal to the paper's table from memory
(MEM).
"""

from collections.abc import Hashable
from itertools import combinations

import networkx

from benchflow.ordering.time_network import Between, contradicts, distances, times

# 0 = 7:00, 1 John leaves, 2 John arrives, 3 Fred leaves, 4 Fred arrives; minutes. John by car, Fred by carpool.
STORY = [
    Between(0, 1, 10, 20),
    Between(1, 2, 30, 40),
    Between(3, 2, 10, 20),
    Between(3, 4, 40, 50),
    Between(0, 4, 60, 70),
]
POINTS = range(5)


def test_the_distances_are_those_of_the_published_table() -> None:
    found = distances(POINTS, STORY)
    assert found is not None
    assert [[found[a][b] for b in POINTS] for a in POINTS] == [
        [0, 20, 50, 30, 70],
        [-10, 0, 40, 20, 60],
        [-40, -30, 0, -10, 30],
        [-20, -10, 20, 0, 50],
        [-60, -50, -20, -40, 0],
    ]


def test_fred_left_between_7_20_and_7_30_and_john_arrived_between_7_40_and_7_50() -> None:
    found = distances(POINTS, STORY)
    assert found is not None
    minimal = {(a, b): (-found[b][a], found[a][b]) for a, b in combinations(POINTS, 2)}
    assert minimal == {
        (0, 1): (10, 20),
        (0, 2): (40, 50),
        (0, 3): (20, 30),
        (0, 4): (60, 70),
        (1, 2): (30, 40),
        (1, 3): (10, 20),
        (1, 4): (50, 60),
        (2, 3): (-20, -10),
        (2, 4): (20, 30),
        (3, 4): (40, 50),
    }


def test_times_that_are_found_keep_every_constraint() -> None:
    found = times(POINTS, STORY)
    assert found is not None
    assert all(each.least <= found[each.then] - found[each.first] <= each.most for each in STORY)


def test_of_the_four_ways_to_travel_those_contradict_that_networkx_finds_a_negative_cycle_in() -> None:
    # John by car 30 to 40 or by bus 60 at least; Fred by car 20 to 30 or by carpool 40 to 50.
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
            assert (distances(POINTS, network) is None) == negative
