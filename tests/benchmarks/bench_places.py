"""Measures the proof of 1,000 operations with 300 state variables by place, and findings at every place.

    python tests/benchmarks/bench_places.py [PLACES]

Each place has ten operations and three variables. ``apart``: the places have nothing to do with each other. ``plain``:
without findings. ``crank``: a state of the whole engine also takes part at every place. Aim: at most 10 s of CPU time,
also where the bound is reached. All procedures are invented.
"""

import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from benchflow.ordering.proof import prove  # noqa: E402  # the root has to be on the path first
from benchflow.procedure.reader import read  # noqa: E402

AIM = 10.0
OPERATIONS = """\
  - {id: clean, title: Clean, needs: {rod: 'out'}, sets: {bore: clean}}
  - {id: look, title: Look, after: clean, check: [{see: It is sound, id: sound}]}
  - {id: hone, title: Hone, after: look, needs: {bore: clean}, sets: {bore: honed}WHEN}
  - {id: wash, title: Wash, after: hone, sets: {bore: clean}}
  - {id: seat, title: Seat, after: wash, needs: {bore: cleanCRANK}, sets: {rod: seated}}
  - {id: cap, title: Cap, after: seat, needs: {rod: seated}, sets: {lid: 'on'}}
  - {id: turn, title: Turn, after: cap, during: {rod: moving}}
  - {id: nut-1, title: Nut 1, after: turn, needs: {lid: 'on'}}
  - {id: nut-2, title: Nut 2, after: turn, needs: {lid: 'on'}}
  - {id: check, title: Check, after: [nut-1, nut-2]}
"""


def procedure_text(kind: str, places: int) -> str:
    """The text of an invented procedure."""
    crank = "  crank: {values: [up, down], start: up}\n" if kind == "crank" else ""
    moves = (
        "moves:\n  up: {title: Up, sets: {crank: up}}\n  down: {title: Down, sets: {crank: down}}\n" if crank else ""
    )
    operations = OPERATIONS.replace("WHEN", "" if kind == "plain" else ", when: {sound: 'no'}")
    operations = operations.replace("CRANK", ", crank: down" if crank else "")
    return (
        f"benchflow: 1\nid: wide\ntitle: Wide, and invented\nrevision: A\n"
        f"places: {{p: [{', '.join(repr(str(n)) for n in range(1, places + 1))}]}}\n"
        "state:\n  rod: {each: p, values: ['out', seated, moving], start: 'out'}\n"
        "  bore: {each: p, values: [raw, clean, honed], start: raw}\n"
        f"  lid: {{each: p, values: ['off', 'on'], start: 'off'}}\n{crank}{moves}"
        "interference:\n- {never: {rod: moving, lid: 'off'}, because: They would touch}\n"
        f"sections:\n- title: Every place\n  each: p\n  operations:\n{operations}"
    )


def main() -> None:
    places = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    print(f"{10 * places} operations, {3 * places} variables by place; aim: {AIM:.0f} s")
    for kind in ("apart", "plain", "crank"):
        procedure = read(procedure_text(kind, places)).procedure
        assert procedure is not None
        start = time.process_time()
        proof = prove(procedure)
        took = time.process_time() - start
        codes = ", ".join(sorted({finding.code for finding in proof.findings})) or "clean"
        state = "complete" if proof.complete else "PARTLY"
        verdict = "ok" if took <= AIM else "MISSED"
        print(f"{kind:<8}{took:7.2f} s  {state}, {proof.configurations:,} configurations, {codes}   {verdict}")


if __name__ == "__main__":
    main()
