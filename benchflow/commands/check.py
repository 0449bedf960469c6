"""``check``: what is wrong with a procedure, and whether every order that it allows is safe."""

from pathlib import Path
from typing import Any

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.exits import FINE, FOUND, UNUSABLE
from benchflow.commands.finding import NotFound, find_procedure
from benchflow.commands.output import emit, remark, say, shown


@click.command()
@click.argument("files", metavar="FILE...", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a file.")
@click.option("--explain", metavar="CODE", help="Say what a finding means and how it is mended, with an example.")
@click.option("--bound", type=click.IntRange(min=1), metavar="N",
              help="Explore at most N configurations, then say what was proven.")  # fmt: skip
def check(files: tuple[str, ...], as_json: bool, explain: str | None, bound: int | None) -> int:
    """Prove that a procedure is sound: every mistake with its line and column, and whether any order that it
    allows passes a forbidden configuration, or comes to a place from which it cannot be finished.

    FILE is a procedure's file, or the name of one that came along.
    """
    if explain is not None:
        from benchflow.commands.explaining import explanation

        say(explanation(explain))
        return FINE
    if not files:
        raise click.UsageError("Name at least one FILE to check, or --explain a CODE.")
    worst = FINE
    for name in files:
        try:
            report = check_file(find_procedure(name), bound)
        except (NotFound, BenchflowError) as wrong:
            remark(f"benchflow: {wrong}")
            worst = UNUSABLE
            continue
        worst = worst if report["ok"] else max(worst, FOUND)
        if as_json:
            emit({**report, "file": name})
        else:
            _tell(report)
    return worst


def check_file(path: Path, bound: int | None) -> dict[str, Any]:
    """The report on one file, as ``check --json`` prints it.

    Raises :class:`~benchflow.base.errors.BenchflowError` when the file cannot be opened.
    """
    from benchflow.procedure.checks.unused_names import as_finding, check_structure
    from benchflow.session.procedure_loading import load_procedure

    loaded = load_procedure(path)
    findings = [as_finding(each) for each in check_structure(loaded.procedure, loaded.problems, shown(path))]
    explored = {"configurations": 0, "complete": False}
    if loaded.procedure is not None:
        from benchflow.ordering.proof import prove

        proof = prove(loaded.procedure) if bound is None else prove(loaded.procedure, bound=bound)
        findings += [finding.as_json() for finding in proof.findings]
        explored = {"configurations": proof.configurations, "complete": proof.complete}
    findings.sort(key=lambda finding: (finding["line"], finding["column"]))
    ok = not any(finding["severity"] == "error" for finding in findings)
    return {"file": shown(path), "ok": ok, "findings": findings, "explored": explored}


def _tell(report: dict[str, Any]) -> None:
    file, findings = report["file"], report["findings"]
    for finding in findings:
        place = f"{file}:{finding['line']}:{finding['column']}" if finding["line"] else file
        say(f"{place}: {finding['severity']}: {finding['message']} [{finding['code']}]")
        if finding.get("order"):
            start = ", ".join(f"{name} {value}" for name, value in finding.get("start", {}).items())
            say(f"    {f'from {start}: ' if start else ''}{', '.join(finding['order'])}")
    say(f"{file}: {_verdict(report)}")


def _verdict(report: dict[str, Any]) -> str:
    counts = {each: sum(finding["severity"] == each for finding in report["findings"]) for each in ("error", "warning")}
    found = ", ".join(f"{count} {name}{'s' if count > 1 else ''}" for name, count in counts.items() if count)
    explored = report["explored"]
    if not report["ok"] and not explored["configurations"]:
        return f"{found}. Its order was not looked at, since the file has mistakes."
    if not explored["complete"]:
        return (
            f"{found or 'nothing found'}, but it was NOT EXPLORED IN FULL, only {explored['configurations']} "
            "configurations: that its order is safe is not proven. Raise --bound, or make the procedure narrower."
        )
    return f"{found or 'sound'}. Every order that it allows was explored ({explored['configurations']} configurations)."
