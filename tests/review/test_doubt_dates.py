"""A doubt about an instrument has dates: from its last good check to the calibration after it. Data is invented."""

from datetime import date
from pathlib import Path

import pytest

from benchflow.quantity import parse_quantity
from benchflow.review.evidence.instrument_points import distance_out_of_range, doubt_points
from benchflow.review.evidence.weights import SUSPECT
from benchflow.review.many.log_scan import LogFiles
from benchflow.session.shop.register import ShopError
from benchflow.session.shop.register_reader import read_shop
from benchflow.session.shop.register_writer import apply_changes, mark_in_doubt, record_calibration
from benchflow.trade.instruments import Instrument
from tests.review.test_trace import found_error, tightened

WRENCH = "shop: 1\ninstruments: {tw: {kind: torque, serial: TW, calibrated: 2025-11-03%s}}\n"


def wrench(text: str) -> Instrument:
    shop = read_shop(text).shop
    assert shop is not None, [str(problem) for problem in read_shop(text).problems]
    return shop.instruments[0]


def doubtful_days(instrument: Instrument, *days: str) -> list[str]:
    return [day for day in days if any(doubt_points(instrument, "TW", day, 1))]


DAYS = ("2025-11-02", "2025-11-04", "2026-04-30", "2026-05-02", "2026-06-02")


@pytest.mark.parametrize(
    ("doubt", "doubtful"),
    [
        ("", []),
        (", in-doubt: dropped", list(DAYS[1:])),
        (", in-doubt: {reason: dropped, found: 2026-05-01}", list(DAYS[1:])),
        (", in-doubt: {reason: dropped, found: 2026-05-01, last-good: 2026-04-01}", list(DAYS[2:])),
    ],
)
def test_use_up_to_the_last_good_check_is_not_in_doubt(doubt: str, doubtful: list[str]) -> None:
    assert doubtful_days(wrench(WRENCH % doubt), *DAYS) == doubtful


def test_calibration_ends_a_doubt_and_keeps_it_for_the_jobs_before() -> None:
    doubted = apply_changes(WRENCH % "", mark_in_doubt("tw", "dropped", date(2026, 5, 1), date(2026, 4, 1)))
    after = wrench(apply_changes(doubted, record_calibration("tw", date(2026, 6, 1), None)))
    assert after.doubt == ""
    assert doubtful_days(after, *DAYS) == ["2026-04-30", "2026-05-02"]
    (point,) = doubt_points(after, "TW", "2026-05-02", 7)
    assert point.words == (
        "the shop's register marks TW as doubtful: dropped (found 2026-05-01, last good check 2026-04-01, calibrated "
        "2026-06-01). It was used on 2026-05-02"
    )


def test_last_good_check_of_an_ended_doubt_is_the_calibration_before_it() -> None:
    doubted = apply_changes(WRENCH % "", mark_in_doubt("tw", "dropped"))
    after = wrench(apply_changes(doubted, record_calibration("tw", date(2026, 6, 1), None)))
    assert [(one.last_good, one.calibrated) for one in after.doubts] == [(date(2025, 11, 3), date(2026, 6, 1))]
    again = apply_changes(doubted, record_calibration("tw", date(2026, 6, 1), None), mark_in_doubt("tw", "bent"))
    twice = wrench(apply_changes(again, record_calibration("tw", date(2026, 7, 1), None)))
    assert [one.reason for one in twice.doubts] == ["dropped", "bent"]


def test_certificate_from_before_the_doubt_does_not_end_it() -> None:
    doubted = apply_changes(WRENCH % "", mark_in_doubt("tw", "dropped", date(2026, 5, 1)))
    after = wrench(apply_changes(doubted, record_calibration("tw", date(2026, 2, 1), None)))
    assert (after.doubt, after.doubts) == ("dropped", ())


def test_later_use_weighs_more() -> None:
    found = wrench(WRENCH % ", in-doubt: {reason: dropped, found: 2026-05-01, last-good: 2025-11-03}")
    early, late = (next(doubt_points(found, "TW", day, 1)).grade for day in ("2025-11-20", "2026-04-20"))
    assert 20 < early < late


@pytest.mark.parametrize(
    ("doubt", "message"),
    [
        (
            ", in-doubt: {reason: x, found: 2026-05-01, last-good: 2026-06-01}",
            "The last good check 2026-06-01 is after",
        ),
        (", in-doubt: {reason: x, found: 2026-15-01}", "`2026-15-01` is not a date"),
        (", in-doubt: {found: 2026-05-01}", "needs the key `reason`"),
        (", doubts: [{reason: x, found: 2026-05-01, calibrated: 2026-04-01}]", "is before 2026-05-01"),
    ],
)
def test_bad_dates_are_refused(doubt: str, message: str) -> None:
    parsed = read_shop(WRENCH % doubt)
    assert parsed.shop is None
    assert any(message in str(problem) for problem in parsed.problems)


def test_last_good_check_after_the_doubt_is_refused() -> None:
    with pytest.raises(ShopError, match="The last good check 2026-06-01 is after"):
        mark_in_doubt("tw", "dropped", date(2026, 5, 1), date(2026, 6, 1))


def test_trace_does_not_accuse_a_job_before_the_last_good_check(tmp_path: Path) -> None:
    source = LogFiles([
        tightened("before", 0, "studs").save(tmp_path), tightened("after", 40, "studs").save(tmp_path),
    ])  # fmt: skip
    # The two jobs were on 2026-03-02 and on 2026-04-11. No source: the dates are invented.
    text = WRENCH.replace("serial: TW", "serial: TW-1")
    doubted = apply_changes(text % "", mark_in_doubt("tw", "reads 8 % high", date(2026, 5, 1), date(2026, 4, 1)))
    now = read_shop(doubted).shop
    after, before = found_error(source, "0.08", register=now).touched
    assert (after.unit, after.grade >= SUSPECT) == ("after", True)
    assert any("reads 8 % high (found 2026-05-01" in reason.words for reason in after.reasons)
    assert (before.unit, before.grade >= SUSPECT) == ("before", False)
    assert "used before the last good check of 2026-04-01; the error came later" in before.reasons[-1].words
    calibrated = read_shop(apply_changes(doubted, record_calibration("tw", date(2026, 6, 1), None))).shop
    after, before = found_error(source, "0", register=calibrated).touched
    assert [reason.kind for reason in after.reasons][:1] == ["instrument-bad"]
    assert "instrument-bad" not in [reason.kind for reason in before.reasons]


@pytest.mark.parametrize(("value", "share"), [("110 N·m", 0.0), ("150 N·m", 0.2), ("10 N·m", 0.5), ("0 N·m", 1.0)])
def test_distance_out_of_range_is_a_part_of_the_larger_of_value_and_end(value: str, share: float) -> None:
    """Calculated by hand: (150 - 120) / 150, (20 - 10) / 20 and 20 / 20."""
    assert distance_out_of_range(parse_quantity(value), "20 .. 120 N·m") == pytest.approx(share)
