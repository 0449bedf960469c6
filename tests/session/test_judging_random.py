"""Random work on values with further limits, rounds, conditions and preferred parts. All data is invented.

After each run the log is decided again, and what was finished is judged again from the readings alone.
"""

import io
import json
import random
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from benchflow.session.json_lines import drive, open_controller
from benchflow.session.shop.live_register import Register
from tests.driving.audited import findings_of_audit
from tests.driving.script import Json, Script, intent, load_text, open_intent, procedure_with, read_procedure

HEAD = """\
places: {valve: [1, 2]}
instruments: {edge: {kind: length, uncertainty: at most 0.002 mm}, leaf: {kind: length, uncertainty: at most 0.002 mm}}
"""
BORE = (
    "{id: bore, title: Bore, record: {bore: {ask: Bore, unit: mm, readings: 3, judge: mean, limit: 20.00 .. 20.02 mm, "
    "above: [{do: Sleeve it, tries: 3, fresh: true}], also: ["
    "{judge: spread, limit: at most 0.010 mm, title: Taper, above: [{do: Hone it, tries: 9}]}, "
    "{judge: smallest, limit: at least 19.98 mm}]}, warp: {ask: Warp, unit: mm, with: [edge, leaf], "
    "limit: at most 0.05 mm}}, work-out: {size: {is: 'up(max(bore[*]), 0.01 mm)', unit: mm}, "
    "gain: {is: 'if(mean(bore[*]) > before(mid), 1, 2)', unit: count}, mid: {is: 'mean(bore[*])', unit: mm, "
    "limit: at most 20.03 mm}}, undo: {do: Take it off}}"
)
SHIM = (
    "{id: shim, title: Shim, after: [bore], record: {gap: {ask: G, unit: mm, readings: valve}, "
    "stock: {ask: S, unit: mm, readings: 3}}, work-out: {lash: {is: gap - shims, unit: mm}}, match: {shims: "
    "{measured: stock, to: valve, so that: lash, limit: 0.10 .. 0.40 mm, prefer: thinnest}}, undo: {do: Take it off}}"
)
LAST = "{id: last, title: Last, after: [shim], do: Rest}"


def random_intent(rng: random.Random, seqs: list[int]) -> Json:
    size = f"{rng.choice([19.97, 19.99, 20.0, 20.0, 20.005, 20.005, 20.01, 20.02, 20.04])} mm"
    small = rng.choice(["0.03 mm", "0.05 mm", "0.06 mm", ".002 in"])
    shim = rng.choice(["2.00 mm", "2.10 mm", "2.20 mm", "2.30 mm"])
    if rng.random() < 0.05:
        return rng.choice([
            intent("pause"), intent("rework", operation=rng.choice(["bore", "shim"]), reason="again"),
            intent("deviate", operation=rng.choice(["bore", "shim"]), reason="approved", by="Kim",
                   about=rng.choice(["bore", "warp", "shims", "mid"])),
        ])  # fmt: skip
    return rng.choice([
        *[intent("record", name="bore", reading=rng.randint(1, 3), value=size)] * 4,
        intent("record", name="warp", value=small, **({"instrument": ["A", "B"]} if rng.random() < 0.5 else {})),
        intent("record", name="gap", reading=rng.randint(1, 2), value=rng.choice(["2.40 mm", "2.50 mm", "2.60 mm"])),
        *[intent("record", name="stock", reading=rng.randint(1, 3), value=shim)] * 2,
        *[intent("choose", name=f"shims[{rng.randint(1, 2)}]", take=rng.choice(["1", "2", "3", shim]),
                 reason=rng.choice(["", "bent"]))] * 2,
        intent("remedy", name="bore"), *[intent("finish")] * 4,
        *[intent("start", operation=rng.choice(["bore", "shim"]))] * 4,
        intent("correct", event=rng.choice(seqs or [1]), value=size, reason="misread"),
    ])  # fmt: skip


def good_work(operation: str) -> list[Json]:
    """Intents that finish an operation, unless something holds its readings."""
    readings = {"bore": ("20.002 mm", "20.004 mm", "20.009 mm")} if operation == "bore" else {
        "gap": ("2.50 mm", "2.60 mm"), "stock": ("2.10 mm", "2.20 mm", "2.30 mm"),
    }  # fmt: skip
    entries = [
        intent("record", name=name, reading=number, value=value)
        for name, values in readings.items()
        for number, value in enumerate(values, 1)
    ]
    if operation == "bore":
        remedies = [intent("remedy", name="bore"), intent("remedy", name="bore")]
        entries = [*remedies, *entries, intent("record", name="warp", value="0.03 mm")]
    else:
        entries += [intent("choose", name=f"shims[{valve}]", take=str(valve), reason="as told") for valve in (1, 2)]
    return [intent("start", operation=operation), *entries, intent("finish")]


def finished_sets(script: Script) -> list[dict[str, Fraction]]:
    """The readings of `bore` at each time that its operation was finished without a deviation."""
    found, now, waived, position = [], {}, False, {}
    for line in script.log():
        data: dict[str, Any] = line["data"]
        if line["kind"] == "recorded" and data["name"] == "bore":
            now[data["reading"]] = Fraction(data["quantity"]["value"])
            position[line["seq"]] = data["reading"]
        elif line["kind"] == "corrected" and data["event"] in position:
            reading = position[data["event"]]
            position[line["seq"]] = reading
            if data["event"] == max(seq for seq, one in position.items() if one == reading and seq != line["seq"]):
                now[reading] = Fraction(data["quantity"]["value"])
        elif line["kind"] == "deviated" and data["operation"] == "bore":
            waived = True
        elif line["kind"] in ("remedied", "reworked", "undone"):
            waived = waived and line["kind"] == "remedied"
        elif line["kind"] == "finished" and data["operation"] == "bore" and not waived:
            found.append(dict(now))
    return found


@pytest.mark.parametrize("seed", [0, 2, 3, 4, 5, 6, 8, 9])  # those that finish an operation
def test_random_work_passes_the_audit(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    script = Script(tmp_path, procedure_with(BORE, SHIM, LAST, head=HEAD))
    controller = open_controller(
        load_text(script.text), "p.yaml", script.path, read_procedure, simulated=False, register=Register(script.shop)
    )
    seqs: list[int] = []

    def send(message: Json) -> Json:
        out = io.BytesIO()
        assert drive(controller, io.BytesIO(json.dumps(message).encode() + b"\n"), out) == 0
        reply: Json = json.loads(out.getvalue())
        seqs.extend(event["seq"] for event in reply.get("events", ()) if event["kind"] in ("recorded", "corrected"))
        return reply

    assert send(open_intent())["ok"]
    for number in range(1, 201):
        send(random_intent(rng, seqs))
        controller.view()
        for message in good_work(rng.choice(["bore", "shim"])) if number % 40 == 0 else ():
            send(message)
    controller.close()
    assert finished_sets(script)
    assert findings_of_audit(script) == []
    for readings in finished_sets(script):
        values = list(readings.values())
        assert len(values) == 3
        assert Fraction("20.00") <= sum(values) / 3 <= Fraction("20.02")
        assert max(values) - min(values) <= Fraction("0.010")
        assert min(values) >= Fraction("19.98")
