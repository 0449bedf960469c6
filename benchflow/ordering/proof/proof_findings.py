"""The findings of the proof, as data."""

from typing import Any, Literal

import msgspec
from msgspec import UNSET, Struct, UnsetType

from benchflow.base.plaintext import sentence
from benchflow.procedure.model import Mark

Code = Literal[
    "forbidden-start",
    "dead-end",
    "unreachable-operation",
    "order-cycle",
    "interlock-needed",
    "time-conflict",
    "vacuous-rule",
    "redundant-after",
    "not-explored",
    "value-absent",
    "unreachable-remedy",
    "never-restored",
    "operation-absent",
    "missing-undo",
    "waits-for-nothing",
]
Severity = Literal["error", "warning", "note"]

SEVERITIES: dict[Code, Severity] = {
    "forbidden-start": "error",
    "dead-end": "error",
    "unreachable-operation": "error",
    "order-cycle": "error",
    "interlock-needed": "warning",
    "time-conflict": "error",
    "vacuous-rule": "warning",
    "redundant-after": "note",
    "not-explored": "warning",
    "value-absent": "error",
    "unreachable-remedy": "error",
    "never-restored": "error",
    "operation-absent": "error",
    "missing-undo": "note",
    "waits-for-nothing": "note",
}


class OrderFinding(Struct, frozen=True):
    """A finding about the order, in the shape of ``check --json``.

    ``order`` holds operation and move ids from the start; an empty ``order`` means that the finding holds at the start.
    ``start`` gives a value to every variable, ``options`` a choice to every option. ``unknown`` are the variables that
    are not known in this order, because their proof was waived. ``findings`` and ``called`` are what was found, and the
    steps that remedies called for, as far as they decide on the steps named. Members that do not apply are unset.
    """

    code: Code
    severity: Severity
    where: str
    line: int
    column: int
    message: str
    order: tuple[str, ...] | UnsetType = UNSET
    start: dict[str, str] | UnsetType = UNSET
    options: dict[str, str] | UnsetType = UNSET
    unknown: tuple[str, ...] | UnsetType = UNSET
    findings: dict[str, tuple[str, ...]] | UnsetType = UNSET
    called: tuple[str, ...] | UnsetType = UNSET

    def as_json(self) -> dict[str, Any]:
        members: dict[str, Any] = msgspec.to_builtins(self)
        for name in ("order", "unknown", "called"):
            if name in members:
                members[name] = list(members[name])
        return members


class SuggestedLine(Struct, frozen=True):
    """A line that the author could add to the operation or move ``to``.

    It is an `after` if ``after`` names an operation (``id`` or ``id[*]``). Otherwise it is a `needs`: ``variable`` with
    the accepted ``values``.
    """

    to: str
    after: str = ""
    variable: str = ""
    values: tuple[str, ...] = ()

    def __str__(self) -> str:
        if self.after:
            return f"after: [{self.after}]"
        wanted = self.values[0] if len(self.values) == 1 else f"[{', '.join(self.values)}]"
        return f"needs: {{{self.variable}: {wanted}}}"


class Proof(Struct, frozen=True):
    """The result of a proof. ``configurations`` is the number explored.

    ``complete`` is true if there are no other findings. Otherwise a finding ``not-explored`` says what is not proven.
    ``undecided`` has the codes of the findings that the procedure may have all the same.
    ``advice`` are notes on what is right as it is, but leaves the builder only a deviation at the bench.
    ``fixes`` holds the lines suggested by each ``interlock-needed`` finding, by the index of the finding.
    """

    findings: tuple[OrderFinding, ...]
    configurations: int
    complete: bool
    fixes: dict[int, tuple[SuggestedLine, ...]] = {}
    undecided: tuple[Code, ...] = ()
    advice: tuple[OrderFinding, ...] = ()

    @property
    def proven(self) -> tuple[Code, ...]:
        """The codes for which every order was checked: the findings are all that there are."""
        return tuple(code for code in SEVERITIES if code != "not-explored" and code not in self.undecided)


def finding(
    code: Code,
    where: str,
    mark: Mark,
    message: str,
    *,
    order: tuple[str, ...] | None = None,
    start: dict[str, str] | None = None,
    options: dict[str, str] | None = None,
    unknown: tuple[str, ...] = (),
) -> OrderFinding:
    """A finding with the severity of its code. The message gets a full stop if it has none."""
    return OrderFinding(
        code,
        SEVERITIES[code],
        where,
        mark.line,
        mark.column,
        sentence(message),
        UNSET if order is None else order,
        UNSET if start is None else start,
        options or UNSET,
        unknown or UNSET,
    )
