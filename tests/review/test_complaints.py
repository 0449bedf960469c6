"""Words of customers for the complaints of the shipped procedures.

The expected complaints are those that an engine builder would think of first (common practice, no source).
"""

from functools import cache
from pathlib import Path

import pytest

from benchflow.procedure.compiled_cache import load
from benchflow.procedure.model import Failure
from benchflow.review.evidence.complaint_matching import failures_meant
from benchflow.review.evidence.symptom_words import SYMPTOM_WORDS, stem, typing_errors, when_in

PROCEDURES = Path(__file__).parents[2] / "procedures"


@cache
def failures(procedure: str) -> tuple[Failure, ...]:
    loaded = load(PROCEDURES / f"{procedure}.yaml").procedure
    assert loaded is not None
    return loaded.failures


def meant(procedure: str, text: str) -> list[str]:
    return [match.failure.id for match in failures_meant(failures(procedure), text)]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("leak", ["head-gasket-leak", "coolant-leak", "oil-leak"]),
        ("losing water", ["head-gasket-leak", "coolant-leak"]),
        ("loosing watter", ["head-gasket-leak", "coolant-leak"]),
        ("Watter leek", ["head-gasket-leak", "coolant-leak"]),
        ("drinks antifreeze", ["head-gasket-leak", "coolant-leak"]),
        ("oil puddle under the car", ["oil-leak"]),
        ("smokes", ["head-gasket-leak", "bent-valve"]),
        ("milky oil", ["head-gasket-leak", "coolant-leak"]),
        ("rattle when cold", ["chain-noise", "noisy-valves"]),
        ("tapping", ["noisy-valves", "chain-noise"]),
        ("knokcs", ["noisy-valves", "chain-noise"]),
        ("overheating", ["head-gasket-leak", "coolant-leak"]),
        ("sheared a stud", ["stud-failure", "cracked-block"]),
        ("no compression", ["bent-valve"]),
        ("DRIPS OIL", ["oil-leak"]),
        ("oil-leak", ["oil-leak"]),
        ("it sings", []),
        ("", []),
    ],
)
def test_words_of_a_customer_find_the_complaints_of_the_head(text: str, expected: list[str]) -> None:
    assert sorted(meant("head-install", text)) == sorted(expected)


@pytest.mark.parametrize(
    ("procedure", "text", "first"),
    [
        ("cam-timing", "no power", "low-power"),
        ("short-block", "knocking at the bottom end", "knock"),
        ("short-block", "smoking", "burns-oil"),
        ("short-block", "the oil light comes on", "low-oil-pressure"),
        ("first-start", "smell of petrol", "fuel-leak"),
        ("first-start", "it won't start", "low-compression"),
        ("pipe-flange", "bolt snapped", "stud-broken"),
        ("valve-lash", "misfires", "bent-valve"),
        ("wheel-hub", "the wheel wobbles", "wheel-loose"),
        ("wheel-hub", "brakes are greasy", "grease-leak"),
    ],
)
def test_best_fit_is_first(procedure: str, text: str, first: str) -> None:
    assert meant(procedure, text)[0] == first


def test_complaint_about_another_fluid_does_not_fit() -> None:
    assert meant("short-block", "losing water") == []
    assert meant("wheel-hub", "losing oil") == []


def test_words_of_the_author_find_his_complaint() -> None:
    named = Failure("sag", "Sits low at the rear", words=("hangs down", "bottoms out"))
    assert failures_meant((named,), "hanging")[0].failure is named
    assert failures_meant((Failure("sag", "Sits low at the rear"),), "hanging") == ()


def test_word_belongs_to_one_symptom() -> None:
    owners: dict[str, str] = {}
    for symptom, words in SYMPTOM_WORDS.items():
        for word in words.split():
            assert owners.setdefault(stem(word), symptom) == symptom, word


def test_forms_of_a_word_have_one_stem() -> None:
    for forms in ("leak leaks leaking leaked leaky leakage", "loses losing lose loss", "noise noises noisy",
                  "drip drips dripping dripped", "miss misses missing", "smoke smoky smoking smokes"):  # fmt: skip
        assert len({stem(form) for form in forms.split()}) == 1, forms


def test_exchanged_letters_are_one_typing_error() -> None:
    assert (typing_errors("konck", "knock"), typing_errors("leek", "leak"), typing_errors("leek", "leak", 2)) == (
        1,
        1,
        2,
    )


def test_hot_or_cold_is_taken_from_the_words() -> None:
    assert (when_in("rattles when cold"), when_in("only when it is hot"), when_in("a hub gets hot")) == (
        "cold",
        "hot",
        "",
    )
