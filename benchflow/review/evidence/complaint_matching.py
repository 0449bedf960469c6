"""Finds the failures of a procedure that a complaint in the customer's words may mean."""

from collections.abc import Iterable, Sequence

from msgspec import Struct

from benchflow.procedure.model import Failure
from benchflow.review.evidence.symptom_words import FLUIDS, RELATED, corrected, stems, symptom_of_stem

TAKEN_SHARE = 0.6
"""A failure is taken if it fits at least this well, compared with the one that fits best."""


class MatchedFailure(Struct, frozen=True):
    """A failure that a complaint may mean. ``fit`` is from 0 to 1; ``words`` are the words that match."""

    failure: Failure
    fit: float
    words: tuple[str, ...]


def find_failure(failures: Sequence[Failure], text: str) -> Failure | None:
    """The failure whose id or text is ``text``, or whose text begins with it; ``None`` if none or several fit."""
    searched = text.casefold().strip()
    for failure in failures:
        if searched in (failure.id.casefold(), failure.text.casefold()):
            return failure
    found = [each for each in failures if searched and each.text.casefold().startswith(searched)]
    return found[0] if len(found) == 1 else None


def failures_meant(failures: Sequence[Failure], text: str) -> tuple[MatchedFailure, ...]:
    """The failures that the complaint ``text`` may mean, the best fit first; none if no word of it fits.

    A failure that ``text`` names (:func:`find_failure`) is the only one. Otherwise each word of the complaint is
    compared with the words of each failure: by its stem, by its symptom, by a related symptom, with typing errors.
    """
    named = find_failure(failures, text)
    if named is not None:
        return (MatchedFailure(named, 1.0, (text.strip(),)),)
    of_failures = {failure.id: _words_of(failure) for failure in failures}
    known = {*symptom_of_stem(), *(word for words in of_failures.values() for word in words)}
    for wrong_letter in (2, 1):
        asked = {corrected(found, known, wrong_letter): word for found, word in stems(text).items()}
        found = _taken(failures, of_failures, asked)
        if found:
            return found
    return ()


def _taken(
    failures: Sequence[Failure], of_failures: dict[str, dict[str, str]], asked: dict[str, str]
) -> tuple[MatchedFailure, ...]:
    """The failures that fit nearly as well as the best one. ``asked`` has the words as typed, by stem."""
    fluids = _symptoms(asked) & FLUIDS
    if "emulsion" in _symptoms(asked):  # water in the oil: about neither of them alone
        asked = {word: typed for word, typed in asked.items() if symptom_of_stem().get(word) not in FLUIDS}
        fluids = frozenset()
    fits: dict[str, dict[str, float]] = {}
    for failure in failures:
        words = of_failures[failure.id]
        named = _symptoms(words) & FLUIDS
        other_fluid = bool(fluids and named and not fluids & named)
        fits[failure.id] = {word: 0.0 if other_fluid else _fit(word, words) for word in asked}
    # Several words for one symptom count once, and words that fit no failure are left out.
    units: dict[str, str] = {}
    for word in asked:
        if any(fit[word] for fit in fits.values()):
            units.setdefault(symptom_of_stem().get(word, word), word)
    if not units:
        return ()
    found = [
        MatchedFailure(
            failure,
            sum(fits[failure.id][word] for word in units.values()) / len(units),
            tuple(asked[word] for word in units.values() if fits[failure.id][word]),
        )
        for failure in failures
    ]
    best = max(each.fit for each in found)
    taken = [each for each in found if each.fit and each.fit >= TAKEN_SHARE * best - 1e-9]
    return tuple(sorted(taken, key=lambda each: -each.fit))


def _symptoms(words: Iterable[str]) -> frozenset[str]:
    symptoms = symptom_of_stem()
    return frozenset(symptoms[word] for word in words if word in symptoms)


def _words_of(failure: Failure) -> dict[str, str]:
    return stems(f"{failure.text} {failure.id.replace('-', ' ')} {' '.join(failure.words)}")


def _fit(word: str, words: dict[str, str]) -> float:
    """How well one word of a complaint fits the words of a failure, from 0 to 1."""
    if word in words:
        return 1.0
    symptoms = symptom_of_stem()
    symptom = symptoms.get(word)
    if symptom is None:
        return 0.0
    named = _symptoms(words)
    if symptom in named:
        return 1.0
    return max((weight for other, weight in RELATED.get(symptom, {}).items() if other in named), default=0.0)
