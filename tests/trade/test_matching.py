"""Matching of parts to places."""

from decimal import Decimal
from fractions import Fraction
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.quantity import Limit, Quantity, base, parse_limit, parse_quantity
from benchflow.trade.matching import (
    Matched,
    MatchError,
    PartPlace,
    PurchasableSizes,
    StockPart,
    Unmatched,
    match,
    required,
)


def q(text: str) -> Quantity:
    return parse_quantity(text)


def shims(**sizes: str) -> list[StockPart]:
    return [StockPart(name, q(size)) for name, size in sizes.items()]


def place(name: str, low: str, high: str, aim: str | None = None, current: str | None = None) -> PartPlace:
    return PartPlace(name, q(low), q(high), q(aim) if aim else None, current)


def parts_by_place(answer: Matched | Unmatched) -> dict[str, str]:
    return {one.place: one.part for one in answer.given}


def test_required_shim_follows_from_lash_and_old_shim() -> None:
    # N = R + M - T: with a shim of 2.40 and a lash of 0.31 the new shim is 2.40 + 0.31 - 0.25 = 2.46, 2.41 to 2.51.
    lash_over_no_shim = q("2.71 mm")
    low, high, aim = required(lash_over_no_shim, parse_limit("0.20 .. 0.30 mm"), q("0.25 mm"), -1)
    assert [size.value for size in (low, high, aim) if size] == [Decimal("2.41"), Decimal("2.51"), Decimal("2.46")]


def test_positive_slope_does_not_swap_low_and_high() -> None:
    low, high, aim = required(q("0 mm"), parse_limit("at least 0.02 mm"), None, 1)
    assert (low and low.value, high, aim) == (Decimal("0.02"), None, None)


def test_part_within_the_limit_stays_although_another_is_nearer_the_aim() -> None:
    answer = match(
        shims(a="2.44 mm", b="2.46 mm"),
        [place("1", "2.41 mm", "2.51 mm", "2.46 mm", current="a")],
    )
    assert isinstance(answer, Matched)
    assert parts_by_place(answer) == {"1": "a"}
    assert answer.moved == 0


def test_part_is_kept_for_the_place_that_only_it_fits() -> None:
    answer = match(
        shims(a="2.46 mm", b="2.50 mm"),
        [place("easy", "2.40 mm", "2.55 mm", "2.46 mm"), place("hard", "2.45 mm", "2.47 mm", "2.46 mm")],
    )
    assert parts_by_place(answer) == {"easy": "b", "hard": "a"}


def test_two_small_distances_are_better_than_one_large_one() -> None:
    # Both distances add up to 0.08 mm. 0.04 twice is better than 0.02 and 0.06.
    answer = match(
        shims(a="2.44 mm", b="2.46 mm"),
        [place("1", "2.30 mm", "2.50 mm", "2.40 mm"), place("2", "2.30 mm", "2.50 mm", "2.42 mm")],
    )
    assert parts_by_place(answer) == {"1": "a", "2": "b"}


def test_assignment_of_the_same_cost_is_reported() -> None:
    answer = match(shims(low="2.44 mm", high="2.48 mm"), [place("1", "2.40 mm", "2.50 mm", "2.46 mm")])
    assert isinstance(answer, Matched)
    assert {answer.given[0].part} | {part for tie in answer.ties for _place, part in tie.changes} == {"low", "high"}


def test_parts_of_the_same_size_are_not_an_alternative() -> None:
    answer = match(
        shims(a="2.44 mm", b="2.44 mm"),
        [place("1", "2.40 mm", "2.50 mm", "2.46 mm"), place("2", "2.40 mm", "2.50 mm", "2.46 mm")],
    )
    assert isinstance(answer, Matched)
    assert answer.ties == ()


def test_alternative_over_three_places_is_reported_completely() -> None:
    places = [place(name, "2.40 mm", "2.60 mm", "2.50 mm") for name in ("1", "2", "3")]
    answer = match(shims(a="2.48 mm", b="2.49 mm", c="2.50 mm"), places)
    assert isinstance(answer, Matched)
    assert answer.ties
    for tie in answer.ties:
        after = {**parts_by_place(answer), **dict(tie.changes)}
        assert sorted(after.values()) == ["a", "b", "c"]


def test_purchase_is_named_for_a_place_without_a_part() -> None:
    answer = match(
        shims(a="2.46 mm"),
        [place("1", "2.45 mm", "2.47 mm", "2.46 mm"), place("2", "2.71 mm", "2.81 mm", "2.76 mm")],
        PurchasableSizes(q("2.00 mm"), q("2.98 mm"), q("0.02 mm")),
    )
    assert isinstance(answer, Unmatched)
    assert parts_by_place(answer) == {"1": "a"}
    assert [(buy.place, [size.value for size in buy.sizes or ()]) for buy in answer.buy] == [("2", [Decimal("2.76")])]
    assert all(buy.sizes for buy in answer.buy)


def test_two_sizes_equally_near_the_aim_are_both_offered() -> None:
    grid = PurchasableSizes(q("2.00 mm"), q("2.98 mm"), q("0.02 mm"))
    answer = match([], [place("1", "2.42 mm", "2.52 mm", "2.47 mm")], grid)
    assert isinstance(answer, Unmatched)
    assert [size.value for size in answer.buy[0].sizes or ()] == [Decimal("2.46"), Decimal("2.48")]
    assert "2.46 mm or 2.48 mm" in answer.buy[0].text


def test_place_that_no_purchasable_size_fits_gets_the_part_on_hand() -> None:
    grid = PurchasableSizes(q("2.00 mm"), q("2.98 mm"), q("0.02 mm"))
    answer = match(
        shims(a="2.47 mm"),
        [place("any", "2.40 mm", "2.50 mm", "2.47 mm"), place("narrow", "2.465 mm", "2.475 mm", "2.47 mm")],
        grid,
    )
    assert isinstance(answer, Unmatched)
    assert parts_by_place(answer) == {"narrow": "a"}
    assert answer.buy[0].sizes


def test_place_without_a_fitting_part_or_size_is_named() -> None:
    grid = PurchasableSizes(q("2.00 mm"), q("2.98 mm"), q("0.02 mm"))
    answer = match([], [place("narrow", "2.465 mm", "2.475 mm", "2.47 mm")], grid)
    assert isinstance(answer, Unmatched)
    assert not any(buy.sizes for buy in answer.buy)
    assert "no purchasable size fits" in answer.buy[0].text


def test_place_that_gets_the_only_fitting_part_is_named() -> None:
    answer = match(
        shims(a="2.46 mm", b="2.10 mm"),
        [place("1", "2.45 mm", "2.47 mm", "2.46 mm"), place("2", "2.40 mm", "2.47 mm", "2.44 mm")],
    )
    assert isinstance(answer, Unmatched)
    assert "The parts that fit 2 are needed elsewhere: a (at 1)" in " ".join(answer.why)
    nothing = match(shims(b="2.10 mm"), [place("1", "2.45 mm", "2.47 mm")])
    assert isinstance(nothing, Unmatched)
    assert nothing.why[1] == "No part on hand fits 1 (from 2.45 mm to 2.47 mm)"


def test_purchase_states_limits_and_aim_if_the_purchasable_sizes_are_not_known() -> None:
    answer = match([], [place("1", "2.42 mm", "2.52 mm", "2.47 mm")])
    assert isinstance(answer, Unmatched)
    assert answer.buy[0].text == "1: one from 2.42 mm to 2.52 mm, best 2.47 mm"


def test_inches_and_millimetres_can_be_mixed() -> None:
    answer = match(shims(a="0.1 in"), [place("1", "2.54 mm", "2.54 mm", "2.54 mm")])
    assert isinstance(answer, Matched)
    assert answer.given[0].off == Quantity(Decimal(0), "in", "0 in")


@pytest.mark.parametrize(
    ("parts", "places", "message"),
    [
        ([], [], "no places"),
        (["a", "a"], [place("1", "1 mm", "2 mm")], "a is named twice"),
        (["a"], [place("1", "1 mm", "2 mm"), place("1", "1 mm", "2 mm")], "1 is named twice"),
        (["a"], [place("1", "1 mm", "2 mm", current="b")], "not among the measured parts"),
        (["a"], [place("1", "1 mm", "2 mm", None, "a"), place("2", "1 mm", "2 mm", None, "a")], "in two places"),
        (["a"], [place("1", "1 g", "2 g")], "length, mass"),
    ],
)
def test_mistake_in_the_parts_or_places_is_an_error(parts: list[str], places: list[PartPlace], message: str) -> None:
    with pytest.raises(MatchError, match=message):
        match([StockPart(name, q("1 mm")) for name in parts], places)


def test_sizes_without_a_step_are_refused() -> None:
    with pytest.raises(MatchError, match="step above zero"):
        match([], [place("1", "1 mm", "2 mm")], PurchasableSizes(q("1 mm"), q("2 mm"), q("0 mm")))


def _cost(
    places: list[PartPlace], parts: dict[str, StockPart], assignment: dict[str, str | None]
) -> tuple[int, int, Fraction]:
    """Return the cost of an assignment by definition: places without a part, parts moved, squared distances."""
    unserved = sum(part is None for part in assignment.values())
    moved = sum(assignment[one.name] is None or assignment[one.name] != one.current for one in places)
    off = Fraction(0)
    for one in places:
        part = assignment[one.name]
        if part is not None and one.aim is not None:
            off += (base(parts[part].size) - base(one.aim)) ** 2
    return unserved, moved, off


def _least_cost(places: list[PartPlace], parts: list[StockPart]) -> tuple[int, int, Fraction]:
    """Return the least cost of all assignments, tried one by one."""
    by_id = {part.id: part for part in parts}
    choices: list[str | None] = [*by_id, *([None] * len(places))]
    best: tuple[int, int, Fraction] | None = None
    for picked in set(permutations(choices, len(places))):
        assignment = {one.name: part for one, part in zip(places, picked, strict=True)}
        fits = all(
            part is None
            or ((one.low is None or base(one.low) <= base(by_id[part].size))
                and (one.high is None or base(by_id[part].size) <= base(one.high)))
            for one, part in ((one, assignment[one.name]) for one in places)
        )  # fmt: skip
        if fits:
            found = _cost(places, by_id, assignment)
            best = found if best is None or found < best else best
    assert best is not None  # an assignment without any part is always possible
    return best


@st.composite
def parts_and_places(draw: st.DrawFn) -> tuple[list[StockPart], list[PartPlace]]:
    """Draw up to four parts and up to four places, some with more digits than a float can resolve."""
    digits = draw(st.sampled_from([2, 12]))
    steps = st.one_of(st.integers(0, 16), st.integers(0, 10 ** (digits - 1)))
    hundredths = steps.map(lambda step: 2 * 10**digits + step)
    scale = 10**digits
    sizes = draw(st.lists(hundredths, max_size=4))
    parts = [StockPart(f"s{n}", Quantity(Decimal(size) / scale, "mm", "")) for n, size in enumerate(sizes)]
    free = draw(st.permutations([part.id for part in parts]))
    places = []
    for n in range(draw(st.integers(1, 4))):
        low = draw(st.one_of(st.none(), hundredths))
        high = draw(st.one_of(st.none(), hundredths))
        if low is not None and high is not None and low > high:
            low, high = high, low
        aim = draw(st.one_of(st.none(), hundredths))
        current = free[n] if n < len(free) and draw(st.booleans()) else None
        ends = [None if end is None else Quantity(Decimal(end) / scale, "mm", "") for end in (low, high, aim)]
        places.append(PartPlace(str(n + 1), ends[0], ends[1], ends[2], current))
    return parts, places


@settings(max_examples=150, deadline=None)
@given(parts_and_places())
def test_no_other_assignment_is_better(bench: tuple[list[StockPart], list[PartPlace]]) -> None:
    parts, places = bench
    answer = match(parts, places)
    by_id = {part.id: part for part in parts}
    assignment: dict[str, str | None] = {one.name: None for one in places} | parts_by_place(answer)
    assert _cost(places, by_id, assignment) == _least_cost(places, parts)
    assert isinstance(answer, Matched) == (None not in assignment.values())
    for tie in answer.ties:
        other = assignment | {name: part if part in by_id else None for name, part in tie.changes}
        assert other != assignment
        assert _cost(places, by_id, other) == _cost(places, by_id, assignment)


def test_limit_with_equal_ends_accepts_exactly_that_size() -> None:
    limit = Limit(q("2.40 mm"), q("2.40 mm"), "")
    low, high, _aim = required(q("0 mm"), limit, None, 1)
    answer = match(shims(a="2.40 mm", b="2.401 mm"), [PartPlace("1", low, high)])
    assert parts_by_place(answer) == {"1": "a"}
