"""Compression, valve timing and shims compared with printed examples."""

from decimal import Decimal

import pytest

from benchflow.trade.calculations.inputs import CalculationErrors
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
    found = calculate("compression", PRINTED_ENGINE | {"bore": "10 in", "stroke": "1 in", "gasket-bore": "10 in"})
    assert float(found["swept"].value) == pytest.approx(1287.04, abs=0.05)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"gasket": "-0.035 in"}, "gasket"), ({"gasket": "35 mm"}, "gasket"), ({"bore": "0 in"}, "bore"),
        ({"bore": "4.03 mm"}, "bore"), ({"stroke": "-3.48 in"}, "stroke"), ({"gasket-bore": "0 in"}, "gasket-bore"),
        ({"gasket-bore": "4.166 mm"}, "gasket-bore"), ({"deck": "5 in"}, "deck"), ({"head": "-76 cm³"}, "head"),
        ({"head": "76 L"}, "head"), ({"crown": "-7 L"}, "crown"), ({"crown": "-90 cm³"}, ""),
    ],
)  # fmt: skip
def test_impossible_cylinder_is_refused_at_its_field(changes: dict[str, str], field: str) -> None:
    with pytest.raises(CalculationErrors) as caught:
        calculate("compression", PRINTED_ENGINE | changes)
    assert [error.field for error in caught.value.errors] == [field]


def test_piston_that_reaches_the_head_and_an_unusual_ratio_are_noted() -> None:
    assert "reaches the head" in calculate("compression", PRINTED_ENGINE | {"deck": "-0.035 in"}).cautions[0].text
    assert calculate("compression", PRINTED_ENGINE | {"deck": "-0.034 in"}).cautions == ()
    assert "unusual" in calculate("compression", PRINTED_ENGINE | {"head": "10 cm³"}).notes[0]


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
    ("first", "second", "centre"),
    [
        ("56°", "156°", 106), ("-40°", "252°", 106), ("700°", "232°", 106), ("340°", "232°", 106),
        ("-160°", "-60°", -110), ("200°", "300°", -110), ("560°", "660°", -110),
    ],
)  # fmt: skip
def test_centreline_is_halfway_between_equal_lifts(first: str, second: str, centre: int) -> None:
    # Geometry, no source. A wheel may count on after top: 340° and 700° are 20° before it, 200° is 160° before it.
    assert calculate("centreline", {"first": first, "second": second})["centreline"].value == centre


@pytest.mark.parametrize(
    ("name", "changes", "message"),
    [
        ("centreline", {"first": "56°", "second": "16°"}, "must come after the first"),
        ("centreline", {"first": "300°", "second": "492°"}, "would be at 396°"),
        ("centreline", {"first": "56°", "second": "58°"}, "2° apart"),
        ("centreline", {"first": "-20°", "second": "30°"}, "would be at 5°"),
        ("centreline", {"first": "56°", "second": "1560°"}, "from -360° to 720°"),
        ("cam-timing", {"intake-opens": "-80°", "intake-closes": "-85°"}, "duration would be 15°"),
        ("cam-timing", {"intake-opens": "-90°", "intake-closes": "-90°"}, "close before it opens"),
        ("cam-timing", {"intake-opens": "63°", "intake-closes": "31°"}, "intake centreline would be 74°"),
        ("cam-timing", {"exhaust-opens": "-77°"}, "duration would be|centreline would be"),
        ("cam-timing", {"exhaust-closes": "290°"}, "from -90° to 150°"),
        ("cam-points", {"intake-duration": "27.4°"}, "from 100° to 400°"),
        ("cam-points", {"exhaust-duration": "-286°"}, "from 100° to 400°"),
        ("cam-points", {"separation": "11°"}, "from 80° to 150°"), ("cam-points", {"advance": "100°"}, "-45° to 45°"),
    ],
)  # fmt: skip
def test_impossible_valve_timing_is_refused(name: str, changes: dict[str, str], message: str) -> None:
    card = {
        "cam-timing": {"intake-opens": "31°", "intake-closes": "63°", "exhaust-opens": "77°", "exhaust-closes": "29°"},
        "cam-points": {"intake-duration": "274°", "exhaust-duration": "286°", "separation": "110°", "advance": "4°"},
        "centreline": {},
    }
    with pytest.raises(CalculationErrors, match=message):
        calculate(name, card[name] | changes)


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


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"old": "0 mm"}, "old"), ({"old": "-2.4 mm"}, "old"), ({"old": "240 mm"}, "old"),
        ({"measured": "-0.1 mm"}, "measured"), ({"measured": "45 mm"}, "measured"), ({"target": "-0.3 mm"}, "target"),
        ({"step": "0 mm"}, "step"), ({"step": "-0.02 mm"}, "step"), ({"last": "1.98 mm"}, "last"),
        ({"first": "0 mm"}, "first"), ({"old": "0.1 mm", "measured": "0.1 mm", "target": "0.3 mm"}, "measured"),
    ],
)  # fmt: skip
def test_impossible_shim_is_refused_at_its_field(changes: dict[str, str], field: str) -> None:
    texts = {"old": "2.40 mm", "measured": "0.45 mm", "target": "0.37 mm", **SIZES}
    with pytest.raises(CalculationErrors) as caught:
        calculate("shim", texts | changes)
    assert [error.field for error in caught.value.errors] == [field]


def test_size_that_leaves_no_clearance_is_not_to_be_fitted() -> None:
    # Computed: with 2.00 mm as the smallest size, 1.50 + 0.30 - 2.00 leaves -0.20 mm.
    found = calculate("shim", {"old": "1.50 mm", "measured": "0.30 mm", "target": "0.37 mm", **SIZES})
    assert found["fit-clearance"].value == Decimal("-0.20")
    assert found.cautions[0].text == "With this size there is no clearance. Do not fit it."
