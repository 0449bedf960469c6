"""Assignment of rows to columns at the least cost."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from benchflow.trade.assignment import Costs, assign

# The large costs differ by less than a float can resolve.
prices = st.one_of(st.none(), st.integers(0, 5), st.integers(10**30, 10**30 + 5))


@st.composite
def cost_tables(draw: st.DrawFn) -> Costs:
    rows = draw(st.integers(1, 4))
    columns = draw(st.integers(rows, 5))
    table: Costs = draw(st.lists(st.lists(prices, min_size=columns, max_size=columns), min_size=rows, max_size=rows))
    for row in range(rows):  # so that there is a solution
        table[row][row] = table[row][row] if table[row][row] is not None else 10**40
    return table


def total(costs: Costs, chosen: tuple[int, ...]) -> int | None:
    prices = [costs[row][column] for row, column in enumerate(chosen)]
    return None if any(price is None for price in prices) else sum(price for price in prices if price is not None)


@settings(max_examples=200, deadline=None)
@given(cost_tables())
def test_cost_is_the_least_of_all_assignments_to_the_last_digit(costs: Costs) -> None:
    found = assign(costs)
    all_totals = [total(costs, assignment) for assignment in permutations(range(len(costs[0])), len(costs))]
    assert total(costs, found.chosen) == min(one for one in all_totals if one is not None)


@settings(max_examples=200, deadline=None)
@given(cost_tables())
def test_alternative_of_the_same_cost_is_found_if_there_is_one(costs: Costs) -> None:
    found = assign(costs)
    least = total(costs, found.chosen)
    assignments = [
        assignment for assignment in permutations(range(len(costs[0])), len(costs)) if total(costs, assignment) == least
    ]
    for row in range(len(costs)):
        acceptable = [column != found.chosen[row] for column in range(len(costs[0]))]
        other = found.alternative(row, acceptable)
        assert (other is not None) == any(assignment[row] != found.chosen[row] for assignment in assignments)
        if other is not None:
            after = list(found.chosen)
            for taking in other:
                after[taking.row] = taking.column
            assert after[row] != found.chosen[row]
            assert len(set(after)) == len(after)
            assert total(costs, tuple(after)) == least


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_cost_equals_the_cost_found_by_scipy(data: st.DataObject) -> None:
    rows = data.draw(st.integers(1, 30))
    columns = data.draw(st.integers(rows, 60))
    rnd = data.draw(st.randoms(use_true_random=False))
    highest = data.draw(st.sampled_from([1, 4, 1000, 10**9]))
    fitting = data.draw(st.sampled_from([0.1, 0.5, 1.0]))
    costs: Costs = [
        [
            rnd.randint(-highest, highest) if column == row or rnd.random() < fitting else None
            for column in range(columns)
        ]
        for row in range(rows)
    ]
    table = np.array([[np.inf if cost is None else cost for cost in line] for line in costs])
    least = sum(table[row, column] for row, column in zip(*linear_sum_assignment(table), strict=True))
    assert total(costs, assign(costs).chosen) == int(least)


def test_rows_that_cannot_all_have_a_column_are_an_error() -> None:
    with pytest.raises(ValueError, match="cannot all be given"):
        assign([[1, None], [1, None]])
