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


def is_consequence(finding: dict[str, Any]) -> bool:
    """True if an operation can never be done only because an earlier one can never be done."""
    return finding["code"] == "unreachable-operation" and NEVER_EITHER in finding["message"]


def causes_first(findings: Sequence[dict[str, Any]]) -> tuple[list[dict[str, Any]], str]:
    """The findings without mere consequences, and a sentence that counts these; "" if there are fewer than two."""
    follow = [finding for finding in findings if is_consequence(finding)]
    kept = [finding for finding in findings if not is_consequence(finding)]
    if len(follow) < 2 or not any(finding["severity"] == "error" for finding in kept):
        return list(findings), ""
    names = ", ".join(finding["where"] for finding in follow[:8]) + (", ..." if len(follow) > 8 else "")
    return kept, f"{len(follow)} operations can never be done, because they come after these: {names}"


def without_hint(message: str) -> str:
    """The first sentence of a message."""
    return message.partition(". ")[0]


def to_fill_sentence(asked: list[dict[str, Any]]) -> str:
    """The figures to be filled in as one sentence: ``18 figures still to be filled in, first: ...``."""
    from benchflow.procedure.figures_to_fill import to_fill_summary

    first = without_hint(asked[0]["message"]).removeprefix("To be filled in: ")
    return to_fill_summary(len(asked), first, asked[0]["line"])


def _block_summary(block: dict[str, Any], found: str) -> str:
    missing = block["without_sample"]
    how = "It was written out with its samples"
    if missing:
        how = f"It was not written out, because a sample is missing for {', '.join(missing)}"
    return f"the block {block['id']}: {found or 'no mistake found'}. {how if not found or missing else 'Correct it'}."


def summary(report: dict[str, Any], proof: "Proof | None") -> str:
    """Return the last line of the report on a file: the number of findings, and how much of the order was proven."""
    severities = [finding["severity"] for finding in report["findings"]]
    counts = {severity: severities.count(severity) for severity in ("error", "warning")}
    found = ", ".join(f"{count} {name}{'s' if count > 1 else ''}" for name, count in counts.items() if count)
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
    if asked:
        found += f", {asked} figure{'s' if asked > 1 else ''} to be filled in"
    plural = "" if explored["configurations"] == 1 else "s"
    return f"{found}. Every allowed order was explored ({explored['configurations']} configuration{plural})."
