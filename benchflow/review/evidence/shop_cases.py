"""Counts the shop's earlier come-backs with the same complaint, and what they change in the order of the steps."""

from collections import Counter
from collections.abc import Callable, Sequence
from typing import Final

from msgspec import Struct

from benchflow.procedure.model import Failure
from benchflow.review.evidence.complaint_matching import failures_meant
from benchflow.review.evidence.ranking import Adjustment
from benchflow.review.evidence.shop_history import ShopCase

CASES_NEEDED: Final = 10
"""Fewer earlier cases of a complaint are shown, and move nothing."""

MOST_BY_CASES: Final = 10
"""The most grades by which earlier cases move a step: by this, if all of them were its fault."""

CASE_RULES: Final = (
    "The shop's own earlier come-backs with the same complaint are shown beside the steps. A job counts once, however "
    f"many findings it has. From {CASES_NEEDED} cases on, they move a step that has a weak point already by up to "
    f"{MOST_BY_CASES} grades: by its share of the cases. "
    "They never change a grade, and never move a step without a weak point. Simulated jobs are counted apart.",
)
"""What earlier cases change, as lines for people."""


class StepCases(Struct, frozen=True):
    """The number of earlier cases that were found to be of one step."""

    operation: str
    title: str
    cases: int


class EarlierCases(Struct, frozen=True):
    """The shop's earlier jobs that came back with the same complaint.

    A job counts once, however many findings it has: once in ``total``, and once for each step and outcome found.
    ``without_step`` counts those of no step of this build. ``steps`` has the others, the most frequent first.
    ``outcomes`` counts them by outcome.
    """

    total: int
    steps: tuple[StepCases, ...]
    without_step: int
    outcomes: dict[str, int]

    @property
    def counts(self) -> bool:
        """True if there are enough cases to move a step in the order."""
        return self.total >= CASES_NEEDED

    def of_step(self, operation: str) -> int:
        """The number of cases of one step."""
        return next((each.cases for each in self.steps if each.operation == operation), 0)

    def adjustment(self, operation: str) -> Adjustment | None:
        """How the cases move a step that has a weak point already; ``None`` if they do not."""
        cases = self.of_step(operation)
        if not self.counts or not cases:
            return None
        words = f"{cases} of {self.total} earlier come-backs with this complaint were found to be of this step"
        return Adjustment(round(MOST_BY_CASES * cases / self.total), words)


def earlier_cases(
    cases: Sequence[ShopCase],
    meant: Callable[[str], bool],
    title_of: dict[str, str],
    simulated: bool,
) -> EarlierCases | None:
    """Count the ``cases`` whose complaint is ``meant``; ``None`` if there is none.

    ``title_of`` has the titles of the steps of this build. Simulated cases are counted for a ``simulated`` build, and
    only these.
    """
    same = [each for each in cases if each.simulated == simulated and meant(each.complaint)]
    if not same:
        return None
    sessions = {each.session for each in same}
    by_step = dict.fromkeys((each.session, each.operation) for each in same if each.operation in title_of)
    with_step = {session for session, _ in by_step}
    steps = Counter(operation for _, operation in by_step)
    ranked = sorted(steps.items(), key=lambda entry: -entry[1])
    return EarlierCases(
        len(sessions),
        tuple(StepCases(operation, title_of[operation], number) for operation, number in ranked),
        len(sessions - with_step),
        dict(Counter(outcome for _, outcome in dict.fromkeys((each.session, each.outcome) for each in same))),
    )


def means_one_of(failures: Sequence[Failure], ids: frozenset[str]) -> Callable[[str], bool]:
    """A test if a complaint in a customer's words may mean one of the failures with these ``ids``."""
    return lambda text: any(match.failure.id in ids for match in failures_meant(failures, text))
