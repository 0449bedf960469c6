"""The result of an audit: findings with line numbers, and whether they are wrong."""

from collections.abc import Iterable
from typing import Literal

from msgspec import Struct

from benchflow.session.refusal import Code, Reason

AuditKind = Literal["interference", "order", "evidence", "refused", "entry", "procedure", "register", "time", "group"]
"""What a finding is about.

``interference``, ``order``, ``evidence``  a step against a rule of damage, out of order, or without its evidence
``refused``    the intent is refused for another reason, such as a signature
``entry``      the intent makes other events than the log has, or an event differs
``procedure``  the text of the procedure, its digest, or the start of the job
``register``   the people of the register, or a change of them
``time``       the clocks of the lines contradict each other
``group``      a line belongs to no intent, or the numbers of intents are wrong
"""


class AuditFinding(Struct, frozen=True):
    """One finding. ``line`` is the number of the line, ``intent`` that of the intent (0 if it has none).

    ``wrong`` is false for a note.
    """

    line: int
    intent: int
    kind: AuditKind
    message: str
    codes: tuple[Code, ...] = ()
    wrong: bool = True


class AuditReport(Struct, frozen=True):
    """The result of an audit. ``intents`` is the number of intents decided again; 0 for a log without intents.

    ``format`` and ``rules`` are those of the log.
    """

    events: int
    intents: int
    format: int
    rules: int
    findings: tuple[AuditFinding, ...]

    @property
    def wrong(self) -> tuple[AuditFinding, ...]:
        """The findings that fail the audit."""
        return tuple(finding for finding in self.findings if finding.wrong)

    @property
    def notes(self) -> tuple[AuditFinding, ...]:
        """The findings that do not fail the audit."""
        return tuple(finding for finding in self.findings if not finding.wrong)

    @property
    def ok(self) -> bool:
        """True if nothing is wrong."""
        return not self.wrong


_KIND_OF_CODE: dict[Code, AuditKind] = {
    "interference": "interference",
    "after-missing": "order",
    "state-not-met": "order",
    "fastener-order": "order",
    "stage-not-finished": "order",
    "operation-in-progress": "order",
    "not-started": "order",
    "already-done": "order",
    "not-open": "order",
    "already-open": "order",
    "temporary-left": "order",
    "value-missing": "evidence",
    "check-open": "evidence",
    "check-failed": "evidence",
    "hold-unsigned": "evidence",
    "out-of-limit": "evidence",
}

ALWAYS_WRONG: tuple[AuditKind, ...] = ("interference", "order", "evidence")
"""What is wrong under older rules too, the gravest first."""


_REOPENED_SINCE = 3
"""The first version of the rules in which a reopened operation blocks what comes after it."""


def known_to_rules(start_reasons: Iterable[Reason], rules: int) -> tuple[Reason, ...]:
    """The reasons that blocked the start of an operation under the ``rules`` of a log."""
    since_reopened = () if rules >= _REOPENED_SINCE else ("out-of-limit", "not-proven")
    return tuple(reason for reason in start_reasons if reason.code not in since_reopened)


def kind_of_refusal(reasons: Iterable[Reason]) -> AuditKind:
    """What a refused intent is about: the gravest of its reasons."""
    kinds = {_KIND_OF_CODE.get(reason.code, "refused") for reason in reasons}
    return next((kind for kind in ALWAYS_WRONG if kind in kinds), "refused")
