"""The preferred part of a matching (`prefer`): proposed, and another one only with a reason. All data is invented."""

from fractions import Fraction
from itertools import permutations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchflow.procedure.model import Preference
from benchflow.session.json_lines import open_controller
from benchflow.session.view.bench_view import ChoiceInput
from benchflow.trade.preferred_parts import OpenPlace, SizedPart, preferred_parts
from tests.driving.audited import findings_of_audit
from tests.driving.script import Json, Script, intent, load_text, open_intent, procedure_with, read_procedure

HEAD = "places: {valve: [1, 2]}\n"


def started(folder: Path, match: str, *, gaps: tuple[str, str], stock: tuple[str, ...], head: str = HEAD) -> Script:
    mic = ", with: mic" if "mic" in head else ""
    script = Script(
        folder,
        procedure_with(
            f"{{id: one, title: One, record: {{gap: {{ask: Gap, unit: mm, readings: valve{mic}}}, stock: {{ask: Shim, "
            f"unit: mm, readings: {len(stock)}{mic}}}}}, work-out: {{lash: {{is: gap - shims, unit: mm}}}}, "
            f"match: {{shims: {{measured: stock, to: valve, so that: lash, {match}}}}}}}",
            head=head,
        ),
    )
    script.do_all(open_intent(), intent("start", operation="one"))
    script.do_all(*(intent("record", name="gap", reading=n, value=value) for n, value in enumerate(gaps, 1)))
    script.do_all(*(intent("record", name="stock", reading=n, value=value) for n, value in enumerate(stock, 1)))
    return script


def choose(valve: int, take: str, **fields: object) -> Json:
    return intent("choose", name=f"shims[{valve}]", take=take, **fields)


def proposed(script: Script) -> dict[str, tuple[str, ...]]:
    controller = open_controller(load_text(script.text), "p.yaml", script.path, read_procedure, simulated=False)
    now = controller.view().now
    controller.close()
    assert now is not None
    return {each.name: each.proposed for each in now.inputs if isinstance(each, ChoiceInput)}


WITHIN = "limit: at least 0.20 mm"
STOCK = ("2.00 mm", "2.10 mm", "2.20 mm", "2.30 mm")


@pytest.mark.parametrize(
    ("prefer", "parts"),
    [
        ("thickest", ("3", "2")),  # 2.20 mm is the thickest for both valves, and only one can have it
        ("thinnest", ("1", "2")),
    ],
)
def test_preferred_part_is_proposed(tmp_path: Path, prefer: str, parts: tuple[str, str]) -> None:
    script = started(tmp_path, f"{WITHIN}, prefer: {prefer}", gaps=("2.42 mm", "2.40 mm"), stock=STOCK)
    found = proposed(script)
    assert sorted(one for each in found.values() for one in each) == sorted(parts)
    script.do_all(*(intent("choose", name=name, take=take[0]) for name, take in found.items()), intent("finish"))
    assert findings_of_audit(script) == []


def test_another_part_needs_a_reason(tmp_path: Path) -> None:
    script = started(tmp_path, f"{WITHIN}, prefer: thickest", gaps=("2.50 mm", "2.20 mm"), stock=STOCK)
    (reply,) = script.send(choose(1, "3"))
    assert [reason["code"] for reason in reply["refused"]] == ["not-allowed"]
    assert reply["refused"][0]["message"].startswith("shims: 4 (2.30 mm) is the thickest that fits 1.")
    assert script.refused("choose", name="shims[1]", take="3", reason="  ") == ["not-allowed"]
    script.do_all(choose(1, "3", reason="the other one is bent"), choose(2, "1"), intent("finish"))
    reasons = [line["data"].get("reason", "") for line in script.log() if line["kind"] == "chosen"]
    assert reasons == ["the other one is bent", ""]
    assert findings_of_audit(script) == []


def test_part_at_the_end_of_the_limit_fits_only_if_the_end_is_included(tmp_path: Path) -> None:
    for number, (limit, part) in enumerate((("at least 0.20 mm", "4"), ("above 0.20 mm", "3"))):
        folder = tmp_path / str(number)
        folder.mkdir()
        script = started(folder, f"limit: {limit}, prefer: thickest", gaps=("2.50 mm", "2.20 mm"), stock=STOCK)
        script.do_all(choose(1, part))


def test_part_that_does_not_fit_needs_a_reason_too(tmp_path: Path) -> None:
    script = started(tmp_path, f"{WITHIN}, prefer: thickest", gaps=("2.40 mm", "2.20 mm"), stock=STOCK)
    assert script.refused("choose", name="shims[1]", take="4") == ["not-allowed"]
    script.do_all(choose(1, "4", reason="to try"), choose(2, "1"))
    assert script.refused("finish") == ["out-of-limit"]


def test_equal_part_is_as_good(tmp_path: Path) -> None:
    stock = ("2.00 mm", "2.300 mm", "0.0905512 in", "2.30 mm")
    script = started(tmp_path, f"{WITHIN}, prefer: thickest", gaps=("2.50 mm", "2.20 mm"), stock=stock)
    script.do_all(choose(1, "4"), choose(1, "2"))


def test_choice_for_another_place_counts(tmp_path: Path) -> None:
    script = started(tmp_path, f"{WITHIN}, prefer: thickest", gaps=("2.50 mm", "2.50 mm"), stock=STOCK)
    script.do_all(choose(1, "4"), choose(2, "3"), intent("finish"))  # 2.30 mm is used in the other place
    assert findings_of_audit(script) == []


def test_nearest_to_the_aim(tmp_path: Path) -> None:
    within = "limit: 0.10 .. 0.40 mm, aim: 0.22 mm, prefer: nearest"
    script = started(tmp_path, within, gaps=("2.43 mm", "2.20 mm"), stock=STOCK)
    assert script.refused("choose", name="shims[1]", take="2") == ["not-allowed"]  # 0.33 mm
    script.do_all(choose(1, "3"))  # 0.23 mm


def test_nearest_without_aim_is_nearest_to_the_middle(tmp_path: Path) -> None:
    script = started(tmp_path, "limit: 0.10 .. 0.40 mm, prefer: nearest", gaps=("2.43 mm", "2.20 mm"), stock=STOCK)
    script.do_all(choose(1, "3"))
    assert script.refused("choose", name="shims[1]", take="2") == ["not-allowed"]


def test_size_that_can_be_bought_is_preferred_too(tmp_path: Path) -> None:
    within = f"{WITHIN}, prefer: thickest, sizes: 2.00 .. 2.50 mm step 0.02 mm"
    script = started(tmp_path, within, gaps=("2.47 mm", "2.30 mm"), stock=STOCK)
    assert proposed(script) == {"shims[1]": ("2.26 mm",), "shims[2]": ("2",)}
    assert script.refused("choose", name="shims[1]", take="3") == ["not-allowed"]
    assert script.refused("choose", name="shims[1]", take="2.24 mm") == ["not-allowed"]
    script.do_all(choose(1, "2.26 mm"), choose(2, "2.10 mm"), intent("finish"))
    assert findings_of_audit(script) == []


def test_part_that_is_not_proven_is_not_preferred(tmp_path: Path) -> None:
    head = f"{HEAD}decision: guarded\ninstruments: {{mic: {{kind: length, uncertainty: at most 0.010 mm}}}}\n"
    gaps, stock = ("2.505 mm", "2.40 mm"), ("2.00 mm", "2.20 mm", "2.30 mm")
    script = started(tmp_path, f"{WITHIN}, prefer: thickest", gaps=gaps, stock=stock, head=head)
    # the lash with 2.30 mm is 0.205 mm; its guard band is 1.65 · √2 · 0.005 mm = 0.012 mm. By hand.
    script.do_all(choose(1, "2"))


def test_choice_is_asked_again_after_another_reading(tmp_path: Path) -> None:
    script = started(tmp_path, f"{WITHIN}, prefer: thickest", gaps=("2.40 mm", "2.20 mm"), stock=STOCK)
    script.do_all(choose(1, "3"), choose(2, "1"), intent("record", name="gap", reading="1", value="2.50 mm"))
    assert script.refused("finish") == ["not-allowed"]
    script.do_all(choose(1, "4"), intent("finish"))
    assert findings_of_audit(script) == []


# --- against all assignments -----------------------------------------------------------------------

sizes = st.integers(1, 6).map(Fraction)


@given(
    st.lists(sizes, min_size=1, max_size=4),
    st.lists(st.tuples(sizes, sizes, st.none() | sizes), min_size=1, max_size=3),
    st.sampled_from(["thickest", "thinnest", "nearest"]),
)
def test_no_assignment_is_better(
    stock: list[Fraction], wanted: list[tuple[Fraction, Fraction, Fraction | None]], prefer: Preference
) -> None:
    parts = [SizedPart(str(number), size) for number, size in enumerate(stock)]
    places = [
        OpenPlace(
            str(number), frozenset(part.id for part in parts if min(one, other) <= part.size <= max(one, other)), buy,
            (one + other) / 2,
        )
        for number, (one, other, buy) in enumerate(wanted)
    ]  # fmt: skip

    def cost(place: OpenPlace, size: Fraction) -> Fraction:
        assert place.aim is not None
        return {"thickest": -size, "thinnest": size, "nearest": (size - place.aim) ** 2}[prefer]

    scores = []
    for chosen in permutations([*parts, *[None] * len(places)], len(places)):
        fitting = [(place, part) for place, part in zip(places, chosen, strict=True)]
        if any(part is not None and part.id not in place.fits for place, part in fitting):
            continue
        taken = [(place, part.size if part is not None else place.buy) for place, part in fitting]
        total = sum((cost(place, size) for place, size in taken if size is not None), Fraction(0))
        scores.append((sum(size is None for _, size in taken), total))
    found = preferred_parts(parts, places, prefer)
    assert found.score == min(scores)
