"""Values that stand out from the shop's other builds."""

from random import Random

from benchflow.review.evidence.assessment import review_everything
from benchflow.review.evidence.other_builds_points import distance
from benchflow.review.evidence.shop_history import OtherReading
from tests.review.played_builds import FLOAT, FLOAT_NAME, loaded_build
from tests.review.test_come_back_review import Shop


def others(values: list[float]) -> Shop:
    return Shop(
        readings=[
            OtherReading(f"s{number}", FLOAT, FLOAT_NAME, "1", f"{value:.3f}", "mm")
            for number, value in enumerate(values)
        ]
    )


def odd_words(values: list[float]) -> list[str]:
    review = review_everything(loaded_build(3), history=others(values))
    return [r.words for guard in review.guards for r in guard.reasons if r.kind == "odd-among-builds"]


def test_value_far_from_eight_other_builds_is_a_weak_point_and_from_seven_is_none() -> None:
    own = next(r for r in loaded_build(3).facts.readings if r.name == FLOAT_NAME and r.in_force)
    apart = [float(own.value) + 0.5 + 0.002 * number for number in range(8)]
    (words,) = odd_words(apart)
    assert words.startswith(f"{FLOAT_NAME} is ")
    assert f"8 other builds of the shop have {apart[0]:g}" in words
    assert odd_words(apart[:7]) == []
    assert odd_words([float(own.value) + 0.01 * number for number in range(-4, 5)]) == []


def test_chance_seldom_makes_a_build_suspect() -> None:
    # Of builds of pure normal scatter, at most 0.27 % may have a value beyond three standard deviations (Bonferroni).
    random, values, builds = Random(1), 20, 500
    accused = 0
    for _ in range(builds):
        sizes = (
            distance(random.gauss(0, 1), [random.gauss(0, 1) for _ in range(8)], 0.0, values) for _ in range(values)
        )
        accused += max(sizes) >= 3.0
    assert accused <= 0.0027 * builds * 2


def test_equal_values_in_coarse_steps_have_the_scatter_of_rounding() -> None:
    assert distance(0.21, [0.20] * 20, 0.01, 1) < 3.0
    assert distance(0.40, [0.20] * 20, 0.01, 1) > 6.0
