"""The remedy that is next for each check that was answered no, where the procedure gives remedies for it.

The same rules hold as for a value: yes counts only after the remedy in turn, and the end is final.
"""

from benchflow.procedure.plan import Step
from benchflow.session.rules.deviation_subjects import covering_deviation
from benchflow.session.rules.remedy_progress import RemedyInTurn, next_remedy
from benchflow.session.state.state import RemedyKey, State, check_key


class CheckRemedy(RemedyInTurn, frozen=True):
    """The remedy in turn for one check that was answered no. ``number`` is that of the check, from 1."""

    number: int
    text: str

    @property
    def title(self) -> str:
        """The check as the subject of a message."""
        return f"Check {self.number} ({self.text})"


def answer_is_waived(state: State, step: Step, number: int) -> bool:
    """True if a deviation covers the answer no of a check."""
    work = state.work(step.id)
    seq = work.failed.get(number)
    return seq is not None and covering_deviation(work, (check_key(number),), frozenset((seq,))) is not None


def check_remedies(state: State, step: Step) -> tuple[CheckRemedy, ...]:
    """The remedy in turn of each check of ``step`` that was answered no, has remedies, and is not waived."""
    work = state.work(step.id)
    found = []
    for number, point in enumerate(step.operation.check, 1):
        if point.if_not and number in work.failed and not answer_is_waived(state, step, number):
            tries = work.remedies.get(RemedyKey(check_key(number), "", "no"), 0)
            found.append(CheckRemedy("no", *next_remedy(point.if_not, tries), number, point.text))
    return tuple(found)


def remedy_of_check(state: State, step: Step, number: int) -> CheckRemedy | None:
    """The remedy in turn of a check; ``None`` if none holds it."""
    return next((held for held in check_remedies(state, step) if held.number == number), None)
