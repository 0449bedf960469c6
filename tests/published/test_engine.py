"""Compression, valve timing and shims compared with printed examples."""

from decimal import Decimal

import pytest

from benchflow.trade.calculations.table import calculate

CUBIC_INCH = 16.387064  # cm³, exact

PRINTED_ENGINE = {
    "bore": "4.03 in", "stroke": "3.48 in", "head": "76 cm³", "crown": "7 cm³", "gasket-bore": "4.166 in",
    "gasket": "0.035 in", "deck": "0.005 in",
}  # fmt: skip


def test_compression_ratio_agrees_with_the_printed_value() -> None:
    # beckracing.com/page56: swept 44.389 in³, at top dead centre 5.604 in³, ratio 8.92. With the exact cubic inch, head
    # and dish give 8.918.
    found = calculate("compression", PRINTED_ENGINE)
    assert found["ratio"].value == Decimal("8.92")
    assert float(found["swept"].value) / CUBIC_INCH == pytest.approx(44.389, abs=0.0005)
    assert float(found["clearance"].value) / CUBIC_INCH == pytest.approx(5.604, abs=0.003)


@pytest.mark.parametrize(("left_out", "volume"), [("gasket", 0.477), ("deck", 0.064), ("crown", 0.427)])
def test_volume_of_each_part_agrees_with_the_printed_value(left_out: str, volume: float) -> None:
    # The same page as in the test above. Volumes in in³.
    zero = {"gasket": "0 in", "deck": "0 in", "crown": "0 cm³"}[left_out]
    whole, rest = (
        float(calculate("compression", inputs)["clearance"].value)
        for inputs in (PRINTED_ENGINE, PRINTED_ENGINE | {left_out: zero})
    )
    assert (whole - rest) / CUBIC_INCH == pytest.approx(volume, abs=0.001)


def test_square_inches_of_bore_become_cubic_centimetres_by_the_printed_factor() -> None:
    # A builder's page prints bore² × stroke × 12.8704 for inches to cm³.
    found = calculate("compression", PRINTED_ENGINE | {"bore": "10 in", "stroke": "1 in"})
    assert float(found["swept"].value) == pytest.approx(1287.04, abs=0.05)


def test_cam_card_gives_the_printed_centrelines() -> None:
    # onallcylinders.com 2023-07-26: points 31, 63, 77 and 29, durations 274 and 286, centrelines 106 and 114. The
    # separation of 110, the overlap of 60 and the advance of 4 are computed.
    found = calculate(
        "cam-timing",
        {"intake-opens": "31°", "intake-closes": "63°", "exhaust-opens": "77°", "exhaust-closes": "29°"},
    )
    names = ("intake-duration", "exhaust-duration", "intake-centre", "exhaust-centre", "separation", "overlap")
    assert [found[name].value for name in names] == [274, 286, 106, 114, 110, 60]
    assert found["advance"].value == 4


def test_points_calculated_from_durations_equal_the_cam_card() -> None:
    # Formulas: powernationtv.com. Durations of 274 and 286, a separation of 110 and an advance of 4 reproduce the card.
    found = calculate(
        "cam-points",
        {"intake-duration": "274°", "exhaust-duration": "286°", "separation": "110°", "advance": "4°"},
    )
    names = ("intake-opens", "intake-closes", "exhaust-opens", "exhaust-closes", "overlap")
    assert [found[name].value for name in names] == [31, 63, 77, 29, 60]


@pytest.mark.parametrize(
    ("first", "second", "centre"), [("56°", "156°", 106), ("-40°", "252°", 106), ("700°", "232°", 826)]
)
def test_centreline_is_halfway_between_equal_lifts(first: str, second: str, centre: int) -> None:
    # Geometry, no source. A second reading below the first is on the next turn of the cam.
    assert calculate("centreline", {"first": first, "second": second})["centreline"].value == centre


SIZES = {"first": "2.00 mm", "last": "2.98 mm", "step": "0.02 mm"}
"""Fifty sizes, as a maker's service manual of a four-cylinder engine prints them."""


@pytest.mark.parametrize(
    ("old", "measured", "target", "new"),
    [("2.40 mm", "0.45 mm", "0.37 mm", "2.48"), ("2.40 mm", "0.40 mm", "0.40 mm", "2.40")],
)
def test_shim_size_follows_the_formula_of_the_manual(old: str, measured: str, target: str, new: str) -> None:
    # N = R + (M - target), intake 0.37, exhaust 0.40 mm: the same service manual. The examples are computed.
    found = calculate("shim", {"old": old, "measured": measured, "target": target, **SIZES})
    assert found["wanted"].value == found["fit"].value == Decimal(new)


def test_manual_has_fifty_shim_sizes() -> None:
    # The same manual: 50 sizes from 2.00 to 2.98 mm.
    fitted = set()
    for hundredths in range(200, 300):
        inputs = {"old": f"{hundredths / 100:.2f} mm", "measured": "0.30 mm", "target": "0.30 mm"}
        found = calculate("shim", inputs | SIZES)
        fitted |= {one.shown for one in found.lines if one.title == "Size to fit"}
    assert len(fitted) == 50
    assert {"2.00 mm", "2.98 mm"} <= fitted


def test_both_sizes_are_named_if_the_exact_size_is_halfway_between_them() -> None:
    # Computed: 2.47 is halfway between 2.46 and 2.48. In floating point it would be nearer to one of them.
    found = calculate("shim", {"old": "2.40 mm", "measured": "0.44 mm", "target": "0.37 mm", **SIZES})
    assert [line.shown for line in found.lines if line.title == "Size to fit"] == ["2.46 mm", "2.48 mm"]
    assert [line.shown for line in found.lines if line.title == "Clearance with it"] == ["0.38 mm", "0.36 mm"]
    assert any("Choose one" in note for note in found.notes)


@pytest.mark.parametrize(("measured", "short"), [("1.00 mm", "0.05 mm"), ("0.96 mm", None), ("0.95 mm", None)])
def test_distance_to_the_largest_size_is_stated_if_no_size_is_near(measured: str, short: str | None) -> None:
    # Computed: 2.40 + 1.00 - 0.37 = 3.03 mm is 0.05 mm beyond 2.98 mm, more than half a step.
    found = calculate("shim", {"old": "2.40 mm", "measured": measured, "target": "0.37 mm", **SIZES})
    assert found["fit"].value == Decimal("2.98")
    assert [note for note in found.notes if "away from the exact size" in note] == (
        [f"The nearest available size is {short} away from the exact size."] if short else []
    )
