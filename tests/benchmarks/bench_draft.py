"""Measures how much of a finished procedure the draft from a teardown holds.

    python -m tests.benchmarks.bench_draft [-v] [NAME...]

For each invented unit in `tests/writing/finished/` there is a finished procedure and the lines of its teardown, both
written before the draft was looked at. The criteria are in `tests/writing/draft_pairing.py`. Aim: at least 80 % of the
operations of the finished procedure, with every miss named.
"""

import sys
import tempfile
from pathlib import Path

from benchflow.procedure.figures_to_fill import figures_to_fill
from tests.writing.draft_pairing import Pairing, pair, procedure_of, teardown_of

FINISHED = Path(__file__).parents[1] / "writing" / "finished"
AIM = 0.80


def main(names: list[str], *, verbose: bool) -> None:
    for path in sorted(FINISHED.glob("*.yaml")):
        if names and path.stem not in names:
            continue
        lines = path.with_name(f"{path.stem}-teardown.txt").read_text(encoding="utf-8")
        with tempfile.TemporaryDirectory() as folder:
            text = teardown_of(lines, Path(folder)).book.text()
        draft = procedure_of(text)
        result = pair(procedure_of(path.read_text(encoding="utf-8")), draft)
        _report(path.stem, result, len(draft.operations), len(figures_to_fill(draft)), verbose=verbose)


def _report(name: str, result: Pairing, drafted: int, asked: int, *, verbose: bool) -> None:
    verdict = "ok" if result.share >= AIM else "MISSED"
    print(
        f"{name}: {len(result.held)} of {result.finished} operations held, {result.share:.0%} (aim {AIM:.0%} {verdict})"
    )
    print(
        f"  the draft has {drafted} operations, {len(result.extra)} of them without a partner; {asked} figures to fill"
    )
    for reason, count in result.reasons.most_common():
        print(f"  {count:3} {reason}")
        for miss in result.misses:
            if miss.reason == reason:
                print(f"        {miss.title}: {miss.detail}")
    if verbose:
        for ident, own in result.held.items():
            print(f"  held {ident}: {', '.join(own)}")
        print(f"  without a partner: {', '.join(result.extra)}")


if __name__ == "__main__":
    main([each for each in sys.argv[1:] if each != "-v"], verbose="-v" in sys.argv)
