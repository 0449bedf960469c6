"""Notes are judged by their words. The notes are from memory of the trade, no source."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchflow.review.evidence.odd_words import DAMAGE_SIZE, REPLACED_SIZE, UNEASE_SIZE, oddness

DAMAGE = (
    "gasket has a crease", "a piece of the old seal under the flange", "coolant ran into the bore",
    "one stud stripped", "cross-threaded, I think", "nick in the face, left it",
    "burr on the shoulder, left it", "No cracks, but a burr on the shoulder", "crack test failed",
    "bent the shim a bit",
    "the hole is a bit oval", "slight leak at the fitting", "scratch on the sealing lip",
    "oil ring broke while fitting",
    "seal went in cocked", "fitted without the washer",
    "no dowel in the hole", "mating face scored", "studs were dry", "had no new one, cleaned the old one",
    "used the old bolts",
    "Dropped one washer, swapped it for an old one from the bin", "ran out of lube, last four studs with WD",
    "new gasket not in yet, put the old one back", "There is a nick at the edge",
)  # fmt: skip
UNEASE = (
    "thread felt gritty", "the mark has moved since", "not the right part number",
    "came tight after five turns", "had to force it", "not sure if the tab went all the way in",
    "dropped it on the floor",
    "could not get it quite flat", "should be fine", "hope it holds", "torque came up very late on this one",
    "wiped it, still some oil on it", "forgot the washer first",
    "this one went in much easier than the rest", "phone rang, lost my place", "it binds a little in one place",
    "number 7 never clicked", "is this the right side?", "Left hub growls a bit when turned by hand",
    "bearing feels rough", "tight spot", "flange rocks on the gasket", "left nut 5 for tomorrow",
    "old stud in hole 9",
)  # fmt: skip
NEUTRAL = (
    "Customer rang, back at six", "cleaned the bench", "lunch", "ordered new seals", "used the blue rag",
    "light is bad, moved the lamp", "no burrs", "not cracked", "without scratches", "crack test ok",
    "No cracks, nicks or burrs", "burrs: none", "checked for cracks, none found", "did not find any burrs",
    "leak test passed", "nothing loose", "no play", "no dirt in the bore", "no oil on the face", "tabs bent over",
    "split pin fitted", "hand tight first, then torqued", "Nick brought the parts", "Customer could not come today",
    "did not need the long socket", "turned by hand, free", "threads clean and oiled", "the marks line up",
    "Radio off, it is late", "stripped and cleaned the carburettor body", "Customer wants the old parts back",
    "Took the torque from page 12", "Cracked the nuts loose with the long bar",
    "Scratch paper is in the drawer", "Missing the game tonight", "Loose nuts are in the blue box",
    "no problem with the threads", "", "\N{GREEK SMALL LETTER MU}m",
)  # fmt: skip


@pytest.mark.parametrize("note", DAMAGE)
def test_word_for_damage_counts_fully(note: str) -> None:
    assert oddness(note) == DAMAGE_SIZE


@pytest.mark.parametrize("note", UNEASE)
def test_word_of_unease_counts_less(note: str) -> None:
    assert oddness(note) == UNEASE_SIZE


@pytest.mark.parametrize("note", NEUTRAL)
def test_neutral_note_or_negated_damage_does_not_count(note: str) -> None:
    assert oddness(note) == 0


@pytest.mark.parametrize(
    "note",
    [
        "a bit of swarf in the bore, blown out", "Old gasket was torn, as expected",
        "Rusty drain valve, poked it clear",
        "Customer says the old gasket leaked at the bottom", "Stud 4 was stiff, ran a die over it, now runs free",
    ],
)  # fmt: skip
def test_what_was_put_right_or_taken_off_is_only_mentioned(note: str) -> None:
    assert oddness(note) == REPLACED_SIZE


def test_damage_of_a_part_that_was_replaced_counts_little() -> None:
    assert oddness("old gasket was torn, fitted a new one") == REPLACED_SIZE
    assert oddness("old gasket was torn, had no new one") == DAMAGE_SIZE


@given(st.lists(st.sampled_from([note for note in NEUTRAL if note]), max_size=6))
def test_neutral_sentences_together_stay_neutral(notes: list[str]) -> None:
    assert oddness(". ".join(notes)) == 0
    assert oddness(". ".join(["gasket has a crease", *notes])) == DAMAGE_SIZE


@given(st.text(max_size=200))
def test_any_text_has_a_size(text: str) -> None:
    assert 0 <= oddness(text) <= DAMAGE_SIZE
