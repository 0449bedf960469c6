"""What the answers to the first questions change: weak points that they add, and steps that they move in the order."""

import re
from collections.abc import Iterator, Sequence
from typing import Final

from benchflow.procedure.model import Caution
from benchflow.procedure.plan import Step
from benchflow.quantity import convert, dimension_of
from benchflow.review.evidence.ranking import Adjustment, WeakPoint
from benchflow.review.evidence.symptom_words import NOISES, stem, stems, symptoms_in
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.rules.hours_or_distance import known_hours_or_distance
from benchflow.session.state.come_back_events import FirstAnswers

NO_ANSWERS: Final = FirstAnswers()
"""All questions left open."""

LONG_HOURS: Final = 100
LONG_KILOMETRES: Final = 5_000
EARLY_HOURS: Final = 10
EARLY_KILOMETRES: Final = 500

_TIME_POINTS: Final = frozenset({"window-missed", "window-tight", "window-unknown", "window-across"})

ANSWER_RULES: Final = (
    "The answers to the first questions add weak points (fasteners not checked again, work by others, changed use). "
    "They move a step in the order only if it has a weak point already, and never change its grade:",
    f"  -6  leak after more than {LONG_HOURS} h or {LONG_KILOMETRES} km: a time window of sealing. Because a joint "
    "that was sealed too late leaks within the first hours.",
    f"  +4  within {EARLY_HOURS} h or {EARLY_KILOMETRES} km: a step that tightens or seals. Because what was never "
    "tight shows at once.",
    "  +4  leak only when hot: a step that tightens. Because heat and pressure open a loose joint.",
    "  +4  leak only when cold: a step that fits seals or sealant. Because a seal that does not fit closes with heat.",
    "  +4  noise only when hot or only when cold: a step that measures lengths. Because heat changes clearances and "
    "thins the oil.",
)
"""What the answers change, as lines for people."""


_NOBODY: Final = re.compile(
    r"\s*(?:no|nobody|none|nothing|not|never|same|unchanged|unknown|do(?:n['’]?t| not) know|no idea|[-–—?])(?!\w)", re.I
)
"""How an answer begins that means no, or not known: ``No, nobody``, ``not touched``, ``don't know``."""


def job_points_of(answers: FirstAnswers) -> Iterator[WeakPoint]:
    """The weak points of the whole job that follow from the answers."""
    if answers.touched and not _NOBODY.match(answers.touched):
        words = f"others have worked on it since the build: {answers.touched}. The log does not show what they did"
        yield WeakPoint("touched-since", words, about="customer")
    if answers.changed and not _NOBODY.match(answers.changed):
        words = f"it is not used as before: {answers.changed}. The build was for the earlier use"
        yield WeakPoint("changed-use", words, about="customer")


def is_long(since: str) -> bool:
    """True after more hours or a longer distance than errors of sealing take to show."""
    return _beyond(since, LONG_HOURS, LONG_KILOMETRES) is True


def is_early(since: str) -> bool:
    """True within the first hours or the first distance."""
    return _beyond(since, EARLY_HOURS, EARLY_KILOMETRES) is False


def _beyond(since: str, hours: int, kilometres: int) -> bool | None:
    quantity = known_hours_or_distance(since)
    if quantity is None:
        return None
    if dimension_of(quantity.unit) == "length":
        return convert(quantity, "km").value > kilometres
    return convert(quantity, "h").value > hours if quantity.unit in ("h", "min", "s") else None


def adjustments_of(
    log: LoadedLog, step: Step, points: Sequence[WeakPoint], complaint: str, answers: FirstAnswers
) -> Iterator[Adjustment]:
    """How the answers move a step that has a weak point already, each with its reason.

    ``complaint`` has the words of the customer and of the failures that they mean.
    """
    if not points:
        return
    symptoms = symptoms_in(complaint)
    leaks, noisy = "leak" in symptoms, bool(symptoms & NOISES)
    operation = step.operation
    tightens = operation.tighten is not None
    seals = any(item.kind == "consumable" for item in log.procedure.kit if item.id in {r.name for r in operation.uses})
    measures = any(value.dimension == "length" for value in operation.record)
    if leaks and is_long(answers.since) and points[0].kind in _TIME_POINTS:
        yield Adjustment(-6, f"{answers.since} since the build: an error of sealing shows within the first hours")
    if (tightens or seals) and is_early(answers.since):
        yield Adjustment(4, f"{answers.since} since the build: what was never tight shows at once")
    if leaks and answers.when == "hot" and tightens:
        yield Adjustment(4, "leaks when hot: heat and pressure open a joint with too little clamp load")
    if leaks and answers.when == "cold" and seals:
        yield Adjustment(4, "leaks when cold: a seal that does not fit closes with heat")
    if noisy and answers.when and measures:
        yield Adjustment(4, f"noise when {answers.when}: heat changes clearances and thins the oil")


def cautions_of(complaint: str, answers: FirstAnswers, title: str, text: str) -> tuple[Caution, ...]:
    """What to do at once where the assembly is still run, with a signal word by the hazard.

    ``title`` and ``text`` are those of its procedure.

    The signal words are those of ANSI Z535.6 (from memory): ``warning`` for a hazard that can kill or injure severely,
    ``notice`` for damage only.
    """
    if answers.running != "yes":
        return ()
    symptoms, words = symptoms_in(complaint), set(stems(complaint))
    if "fire" in symptoms or "fuel" in symptoms:
        return (Caution("warning", "Do not run it. Escaping fuel can catch fire. Close the fuel supply."),)
    if (words | set(stems(title))) & {stem("wheel"), stem("brake"), stem("hub")}:
        return (Caution("warning", "Do not drive or tow it. A wheel or a brake can fail. Load it on another vehicle."),)
    if symptoms & {"water", "heat"}:
        if "coolant" in text.casefold():
            hazard = "Coolant under pressure scalds. Open the cap only when it is cold."
        else:
            hazard = "Hot liquid under pressure scalds. Open it only when it is cold and without pressure."
        return (Caution("warning", f"Do not run it. {hazard}"),)
    return (
        Caution(
            "notice", "Do not run it until the cause is found. Running it can turn a small repair into a large one."
        ),
    )
