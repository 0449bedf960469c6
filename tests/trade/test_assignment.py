"""The certificate behind a match."""

from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.trade.assignment import Costs, assign

# Far beyond what floating point tells apart, so that scipy's answer has to be mended.
prices = st.one_of(st.none(), st.integers(0, 5), st.integers(10**30, 10**30 + 5))


@st.composite
def tables(draw: st.DrawFn) -> Costs:
    rows = draw(st.integers(1, 4))
    columns = draw(st.integers(rows, 5))
    table: Costs = draw(st.lists(st.lists(prices, min_size=columns, max_size=columns), min_size=rows, max_size=rows))
    for row in range(rows):  # one way there always is
        table[row][row] = table[row][row] if table[row][row] is not None else 10**40
    return table


def total(costs: Costs, chosen: tuple[int, ...]) -> int | None:
    prices = [costs[row][column] for row, column in enumerate(chosen)]
    return None if any(price is None for price in prices) else sum(price for price in prices if price is not None)


@settings(max_examples=200, deadline=None)
@given(tables())
def test_the_least_cost_is_found_to_the_last_digit(costs: Costs) -> None:
    found = assign(costs)
    every = [total(costs, way) for way in permutations(range(len(costs[0])), len(costs))]
    assert total(costs, found.chosen) == min(one for one in every if one is not None)


@settings(max_examples=200, deadline=None)
@given(tables())
def test_another_way_is_named_exactly_where_there_is_one(costs: Costs) -> None:
    found = assign(costs)
    least = total(costs, found.chosen)
    ways = [way for way in permutations(range(len(costs[0])), len(costs)) if total(costs, way) == least]
    for row in range(len(costs)):
        differs = [column != found.chosen[row] for column in range(len(costs[0]))]
        other = found.instead(row, differs)
        assert (other is not None) == any(way[row] != found.chosen[row] for way in ways)
        if other is not None:
            after = list(found.chosen)
            for taking in other:
                after[taking.row] = taking.column
            assert after[row] != found.chosen[row]
            assert len(set(after)) == len(after)
            assert total(costs, tuple(after)) == least


def test_rows_that_cannot_all_be_served_are_said_so() -> None:
    with pytest.raises(ValueError, match="infeasible"):
        assign([[1, None], [1, None]])
