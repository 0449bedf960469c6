"""Torque and preload against printed examples; friction drag after the FAA's circular."""

from decimal import Decimal

import pytest

from benchflow.quantity import convert, parse_quantity
from benchflow.trade.fasteners import NUT_FACTORS, SCATTER, long_form, lubricant_change, torque_for
from benchflow.trade.threads import parse_thread
from benchflow.trade.wrench import with_drag

K20 = Decimal("0.20")


def load_and_torque(thread: str, proof_ksi: float) -> tuple[float, float]:
    """F = 0.75 × proof × At in lbf and T = K d F in ft-lb, K = 0.20."""
    found = parse_thread(thread)
    force = 0.75 * proof_ksi * 1000 * found.stress_area
    torque = torque_for(parse_quantity(f"{force:.4f} lbf"), found, K20, "ft-lb")
    return force, float(torque["torque"].value)


@pytest.mark.parametrize(
    ("thread", "ksi", "force", "torque", "tolerance"),
    [
        # coxhardware.com/t-bolt-torque, grade 2; 5.4 is cut off from 5.47
        ("1/4-20", 55, 1312, 5.4, 0.1),
        ("7/16-14", 55, 4385, 32, 0.5),
        ("7/16-20", 55, 4896, 35.7, 0.05),
        ("1/2-13", 55, 5853, 48.8, 0.05),
        # the same rule for grades 5 and 8, computed
        ("7/16-20", 85, 7568, 55.2, 0.05),
        ("7/16-20", 120, 10684, 77.9, 0.05),
        ("1/2-13", 85, 9046, 75.4, 0.05),
        ("1/2-13", 120, 12771, 106.4, 0.05),
    ],
)
def test_the_short_form_gives_the_printed_table(
    thread: str, ksi: float, force: float, torque: float, tolerance: float
) -> None:
    found = load_and_torque(thread, ksi)
    assert found[0] == pytest.approx(force, rel=5e-4)  # the table's areas have four digits
    assert found[1] == pytest.approx(torque, abs=tolerance)


@pytest.mark.parametrize(("k", "printed", "exact"), [("0.20", 30, 30.88), ("0.15", 23, 23.16)])
def test_three_eighths_grade_five(k: str, printed: float, exact: float) -> None:
    # mobiletechengineering.com, 2020-11-15; the first figure is cut off, not rounded.
    found = torque_for(parse_quantity("4940 lbf"), parse_thread("3/8-16"), Decimal(k), "ft-lb")
    assert float(found["torque"].value) == pytest.approx(exact, abs=0.05)
    assert int(found["torque"].value) == printed


def test_a_wrong_lubricant_example_is_not_reproduced() -> None:
    # scribd 300189827 prints 53 for 130 ft-lb dry with factors 0.17 and 0.09; it is 68.8.
    found = lubricant_change(parse_quantity("130 ft-lb"), Decimal("0.17"), Decimal("0.09"))
    assert found["torque"].value == Decimal("68.8")


def test_relative_friction_of_three_quarters_takes_three_quarters_of_the_torque() -> None:
    # buy-metric.com/tech/data1torque: both phosphated, T = 0.75 of the table.
    found = lubricant_change(parse_quantity("100 N·m"), Decimal("0.20"), Decimal("0.15"))
    assert found["torque"].value == 75


@pytest.mark.parametrize(
    ("thread", "friction", "by_pitch", "handbook"),
    [
        ("M10x1.5", 0.12, 0.1620, 0.1614), ("M10x1.5", 0.15, 0.1967, 0.1958), ("M10x1.5", 0.20, 0.2547, 0.2531),
        ("M12x1.75", 0.12, 0.1615, 0.1609), ("3/4-16", 0.15, 0.1894, 0.1889),
    ],
)  # fmt: skip
def test_the_long_forms_give_the_computed_nut_factors(
    thread: str, friction: float, by_pitch: float, handbook: float
) -> None:
    # Forms as quoted in scribd 488843784, citing Shigley 5e eq. 8-19 and MIL-HDBK-60 eq. 100.5.1; values computed.
    assert long_form(parse_thread(thread), friction, friction) == pytest.approx((by_pitch, handbook), abs=0.5e-4)


def test_the_stated_ranges_of_nut_factors_and_scatter_are_kept() -> None:
    # zipfastener.com/engineering-data; scatter: IFI Technical Data N-12 / N-16, as quoted in a machine's manual.
    assert NUT_FACTORS["dry steel"][:2] == (0.18, 0.27)
    assert NUT_FACTORS["machine oil"][:2] == (0.10, 0.26)
    assert NUT_FACTORS["cadmium plated"][:2] == (0.15, 0.19)
    assert NUT_FACTORS["phosphated and oiled"][:2] == (0.15, 0.22)
    assert NUT_FACTORS["zinc plated"][:2] == (0.17, 0.35)
    assert NUT_FACTORS["austenitic stainless"][:2] == (0.30, 0.50)
    assert Decimal("0.25") == SCATTER


# --- FAA AC 43.13-1B ------------------------------------------------------------------------------------

TABLE_7_1 = {
    # size: tension nuts from, to; shear nuts from, to; most for tension (90 ksi), most for shear (54 ksi), in-lb
    "10-32": (20, 25, 12, 15, 40, 25), "1/4-28": (50, 70, 30, 40, 100, 60),
    "3/8-24": (160, 190, 95, 110, 390, 240), "7/16-20": (450, 500, 270, 300, 840, 500),
    "3/4-16": (2300, 2500, 1300, 1500, 5000, 3000), "1/4-20": (40, 50, 25, 30, 75, 45),
    "5/16-18": (80, 90, 48, 55, 160, 100), "3/8-16": (160, 185, 95, 100, 275, 170),
    "1/2-13": (400, 480, 240, 290, 880, 520),
}  # fmt: skip
"""FAA AC 43.13-1B table 7-1 (9/8/98), oil-free cadmium-plated threads, as at landseaskyspace.com/ac4313/7-44."""


@pytest.mark.parametrize("size", TABLE_7_1)
def test_the_faa_table_lies_where_the_short_form_puts_it(size: str) -> None:
    # A sanity check, no more: the recommended torques come from 40 ksi in the tension nut, the greatest from
    # 90 ksi. With cadmium's K the table is met within its own, coarse, rounding and scatter.
    tension_low, tension_high, _, _, most, _ = TABLE_7_1[size]
    thread = parse_thread(size)
    low, high, _source = NUT_FACTORS["cadmium plated"]

    def torque(stress_psi: float, k: float) -> float:
        return k * thread.diameter * stress_psi * thread.stress_area

    assert torque(40_000, low) * 0.5 < tension_low <= tension_high < torque(40_000, high) * 1.5
    assert torque(90_000, low) * 0.5 < most < torque(90_000, high) * 1.5


def test_a_quarter_inch_fine_at_40_ksi_comes_out_just_above_the_table() -> None:
    # Computed: 0.2 × 0.25 × 1456 = 72.8 in-lb, against 50 to 70 printed.
    force = 40_000 * parse_thread("1/4-28").stress_area
    found = torque_for(parse_quantity(f"{force:.2f} lbf"), parse_thread("1/4-28"), K20, "in-lb")
    assert float(found["torque"].value) == pytest.approx(72.8, abs=0.1)


@pytest.mark.parametrize(("wanted", "final"), [("50 in-lb", 58), ("70 in-lb", 78)])
def test_friction_drag_is_added_to_the_torque_wanted(wanted: str, final: int) -> None:
    # Rule: FAA AC 43.13-1B 7-40; the example (50 to 70 with 8 in-lb of drag) is computed.
    assert with_drag(parse_quantity(wanted), parse_quantity("8 in-lb"))["setting"].value == final


def test_drag_felt_in_another_unit_is_added_right() -> None:
    found = with_drag(parse_quantity("5.0 ft-lb"), parse_quantity("12 in-lb"))["setting"]
    assert (found.value, found.unit) == (Decimal("6.0"), "ft-lb")
    assert convert(found, "in-lb").value == 72
