"""Writes the findings of ``check`` as lines of text, and the summary below them."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchflow.ordering.proof import Proof

NEVER_EITHER = "which is never done either"
"""How the proof says that an operation follows one that can never be done."""
TO_FILL_CODE = "to-fill"
"""The code of a figure that is still to be filled in."""


def finding_lines(file: str, finding: dict[str, Any]) -> Iterator[str]:
    """A finding with its place, and below it the order of operations in which it occurs."""
    place = f"{file}:{finding['line']}:{finding['column']}" if finding["line"] else file
    block = f" (block {finding['block']})" if finding.get("block") else ""
    yield f"{place}: {finding['severity']}: {finding['message']} [{finding['code']}]{block}"
    if finding.get("order"):
        start = ", ".join(f"{name} {value}" for name, value in finding.get("start", {}).items())
        yield f"    {f'from {start}: ' if start else ''}{', '.join(finding['order'])}"


def _follows(finding: dict[str, Any], *, in_a_circle: bool) -> bool:
    """True if a finding only follows from another one. ``in_a_circle``: some `after` lines form a circle."""
    if finding["code"] == "unreachable-operation":
        return NEVER_EITHER in finding["message"]
    return in_a_circle and finding["code"] == "dead-end" and not finding["order"]


def causes_first(findings: Sequence[dict[str, Any]]) -> tuple[list[dict[str, Any]], str]:
    """The findings without mere consequences, and a sentence that counts these; "" if there are fewer than two."""
    in_a_circle = any(finding["code"] == "order-cycle" for finding in findings)
    follow = [finding for finding in findings if _follows(finding, in_a_circle=in_a_circle)]
    kept = [finding for finding in findings if finding not in follow]
    never = [finding["where"] for finding in follow if finding["code"] == "unreachable-operation"]
    if len(never) < 2 or not any(finding["severity"] == "error" for finding in kept):
        return list(findings), ""
    names = ", ".join(never[:8]) + (", ..." if len(never) > 8 else "")
    return kept, f"As a result, {len(never)} operations can never be done: {names}"


def without_hint(message: str) -> str:
    """The first sentence of a message."""
    return message.partition(". ")[0]


def to_fill_sentence(asked: list[dict[str, Any]]) -> str:
    """The figures to be filled in as one sentence: ``18 figures still to be filled in, first: ...``."""
    from benchflow.procedure.figures_to_fill import to_fill_summary

    first = without_hint(asked[0]["message"]).removeprefix("To be filled in: ")
    return to_fill_summary(len(asked), first, asked[0]["line"])


def _block_summary(block: dict[str, Any], found: str) -> str:
    """What was checked of a block: with its samples, or with stand-ins for those that are missing."""
    made: dict[str, str] = block["stand_ins"]
    left_out = [name for name in block["without_sample"] if name not in made]
    parts = ["It was written out with its samples"]
    if made:
        values = ", ".join(f"{name} ({text})" for name, text in made.items())
        parts[0] = f"It was written out with stand-ins for {values}"
    if left_out:
        parts.append(f"Without a sample for {', '.join(left_out)}, what depends on it was not checked")
    if block["without_sample"]:
        parts.append("Write a `sample` for each, and the figures are checked too")
    return f"the block {block['id']}: {found or 'no mistake found'}. {'. '.join(parts)}."


def summary(report: dict[str, Any], proof: "Proof | None") -> str:
    """Return the last line of the report on a file: the number of findings, and how much of the order was proven."""
    causes, _ = causes_first(report["findings"])
    severities = [finding["severity"] for finding in causes]
    counts = {severity: severities.count(severity) for severity in ("error", "warning")}
    found = ", ".join(f"{count} {name}{'s' if count > 1 else ''}" for name, count in counts.items() if count)
    follow = len(report["findings"]) - len(causes)
    if follow:
        found += f" ({follow} more follow from {'it' if sum(counts.values()) == 1 else 'them'})"
    explored = report["explored"]
    if "block" in report:
        return _block_summary(report["block"], found)
    if proof is None:
        return f"{found}. The order was not checked. Correct the mistakes first."
    if not proof.complete:
        if any(finding["code"] == "not-explored" for finding in report["findings"]):
            advice = "Follow the warnings, raise --bound, or make the procedure narrower."
        else:
            advice = "Correct the starts first."
        return (
            f"{found or 'no mistake found'}. NOT EXPLORED IN FULL: only {proof.configurations:,} configurations. "
            f"The order is not proven safe. Not proven: {', '.join(proof.undecided)}. "
            f"Proven: {', '.join(proof.proven)}. {advice}"
        )
    if not found:
        no_rule = any(finding["code"] == "no-rule" for finding in report["findings"])
        found = "sound, but without a collision rule: collisions are not proven" if no_rule else "sound"
    asked = sum(finding["code"] == TO_FILL_CODE for finding in report["findings"])
    if asked and found.startswith("sound"):
        found = f"the order is {found}"  # what is asked is not known to be sound
    if asked:
        found += f", {asked} figure{'s' if asked > 1 else ''} to be filled in"
    plural = "" if explored["configurations"] == 1 else "s"
    return f"{found}. Every allowed order was explored ({explored['configurations']} configuration{plural})."
