"""Compression, valve timing and shims against printed examples."""

from decimal import Decimal
from math import pi

import pytest

from benchflow.quantity import Quantity, parse_quantity
from benchflow.trade.cam import points, timing
from benchflow.trade.compression import compression_ratio, cylinder_volume
from benchflow.trade.shims import exact_size, nearest, shim


def q(text: str) -> Quantity:
    return parse_quantity(text)


def test_the_printed_compression_ratio() -> None:
    # beckracing.com/page56: 4.03 × 3.48 in, 76 cc, dish 7 cc, gasket 4.166 × 0.035, deck 0.005: 8.92.
    # With the exact cubic inch the head and dish give 8.918.
    found = compression_ratio(
        q("4.03 in"), q("3.48 in"), q("76 cm³"), q("7 cm³"), q("4.166 in"), q("0.035 in"), q("0.005 in")
    )
    assert found["ratio"].value == Decimal("8.92")
    cubic = 16.387064
    swept = float(found["swept"].value) / cubic
    assert swept == pytest.approx(44.389, abs=0.0005)
    assert cylinder_volume(q("4.166 in"), q("0.035 in")) / cubic == pytest.approx(0.477, abs=0.0005)
    assert cylinder_volume(q("4.03 in"), q("0.005 in")) / cubic == pytest.approx(0.064, abs=0.0005)
    assert float(found["clearance"].value) / cubic == pytest.approx(5.604, abs=0.003)
    exact = swept + 76 / cubic + 7 / cubic + 0.477 + 0.064
    assert exact / (exact - swept) == pytest.approx(8.918, abs=0.001)


def test_the_factor_from_square_inches_of_bore_to_cubic_centimetres() -> None:
    # A builder's page (jniolon) gives 12.8704 = 0.7854 × 16.387; its own example has digits changed about and is
    # not used.
    assert cylinder_volume(q("1 in"), q("1 in")) == pytest.approx(12.8704, abs=0.0005)
    assert pi / 4 * 16.387064 == pytest.approx(12.8704, abs=0.0005)


def test_the_printed_cam_card() -> None:
    # onallcylinders.com 2023-07-26: 31 / 63 / 77 / 29: 274 and 286, 106 and 114; separation 110 and overlap 60
    # computed.
    found = timing(q("31°"), q("63°"), q("77°"), q("29°"))
    names = ("intake-duration", "exhaust-duration", "intake-centre", "exhaust-centre", "separation", "overlap")
    assert [found[name].value for name in names] == [274, 286, 106, 114, 110, 60]


def test_the_way_back_from_durations_gives_the_same_card() -> None:
    # Formulas: powernationtv.com; 274, 286, 110 and 4 of advance reproduce the card.
    found = points(q("274°"), q("286°"), q("110°"), q("4°"))
    names = ("intake-opens", "intake-closes", "exhaust-opens", "exhaust-closes", "overlap")
    assert [found[name].value for name in names] == [31, 63, 77, 29, 60]


@pytest.mark.parametrize(
    ("old", "measured", "target", "new"),
    [("2.40 mm", "0.45 mm", "0.37 mm", "2.48"), ("2.40 mm", "0.40 mm", "0.40 mm", "2.40")],
)
def test_the_shim_that_the_manual_asks_for(old: str, measured: str, target: str, new: str) -> None:
    # N = R + (M − target), intake 0.37, exhaust 0.40 mm: service manual of the QG18DE; the example is computed.
    assert exact_size(q(old), q(measured), q(target)).value == Decimal(new)


def test_the_manuals_fifty_sizes() -> None:
    # 2.00 to 2.98 mm every 0.02 mm.
    grid = (q("2.00 mm"), q("2.98 mm"), q("0.02 mm"))
    made = {nearest(Quantity(Decimal(n) / 100, "mm", ""), *grid).sizes[0].value for n in range(200, 300)}
    assert len(made) == 50
    assert nearest(q("2.483 mm"), *grid).sizes == (Quantity(Decimal("2.48"), "mm", "2.48 mm"),)


def test_a_size_halfway_between_two_is_asked_and_not_guessed() -> None:
    # 2.47 on a 0.02 grid; in floating point it would fall to one side.
    grid = (q("2.00 mm"), q("2.98 mm"), q("0.02 mm"))
    found = nearest(q("2.47 mm"), *grid)
    assert [size.value for size in found.sizes] == [Decimal("2.46"), Decimal("2.48")]
    worked = shim(q("2.40 mm"), q("0.44 mm"), q("0.37 mm"), grid)
    assert [line.shown for line in worked.lines if line.title == "Size to fit"] == ["2.46 mm", "2.48 mm"]
    assert any("for you to say" in note for note in worked.notes)
