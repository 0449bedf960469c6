"""States that vary by option and by place: the proof compared with brute force, on random small procedures."""

from random import Random

import pytest

from benchflow.ordering.proof import prove
from benchflow.procedure.expand import expand, option_choices
from benchflow.procedure.reader import read
from tests.driving.script import procedure_with
from tests.ordering import brute_force

VALUES = "ab"


def _value(random: Random, names: tuple[str, ...], *, several: bool) -> str:
    """A value, or a mapping by the option or by the place."""
    if random.random() < 0.3:
        return random.choice(["a", "b", "[a, b]"] if several else ["a", "b"])
    by = random.choice(names)
    choices = ("x", "y") if by == "side" else ("1", "2")
    branches = ", ".join(f"{choice}: {random.choice(VALUES)}" for choice in choices)
    return f"{{by: {by}, {branches}}}"


def _settings(random: Random, key: str, names: tuple[str, ...]) -> str:
    chosen = [variable for variable in ("v", "w") if random.random() < 0.5]
    if not chosen:
        return ""
    inside = ", ".join(f"{one}: {_value(random, names, several=key == 'needs')}" for one in chosen)
    return f", {key}: {{{inside}}}"


def _random_text(random: Random) -> str:
    operations = []
    for number in range(random.randint(2, 3)):
        each = random.random() < 0.5
        names = ("side", "cap") if each else ("side",)
        text = "".join(_settings(random, key, names) for key in ("needs", "during", "sets"))
        after = f", after: ['o{random.randrange(number)}']" if number and random.random() < 0.4 else ""
        operations.append(f"{{id: o{number}, title: O{', each: cap' if each else ''}{after}{text}}}")
    start = random.choice(["a", "b", "ask"])
    rule = f"v: {random.choice(VALUES)}, w: {random.choice(VALUES)}"
    head = (
        "options: {side: {choices: [x, y]}}\nplaces: {cap: [1, 2]}\n"
        f"state: {{v: {{values: [a, b], start: {start}}}, w: {{values: [a, b], start: a}}}}\n"
        f"interference: [{{never: {{{rule}}}, because: it jams}}]\n"
    )
    if random.random() < 0.5:
        head += f"moves: {{m: {{title: M, sets: {{v: {random.choice(VALUES)}}}}}}}\n"
    return procedure_with(*operations, head=head)


@pytest.mark.parametrize("seed", range(150))
def test_proof_of_every_choice_agrees_with_brute_force(seed: int) -> None:
    text = _random_text(Random(seed))
    reading = read(text)
    assert reading.procedure is not None, [str(problem) for problem in reading.problems]
    proof = prove(reading.procedure)
    truths = [brute_force.Verdicts(expand(reading.procedure, options)) for options in option_choices(reading.procedure)]
    if not all(truth.origins for truth in truths):
        return
    codes = {finding.code for finding in proof.findings}
    assert ("dead-end" in codes) == any(truth.dead_end is not None for truth in truths), text
    assert ("interlock-needed" in codes) == any(truth.breach is not None for truth in truths), text
    never = {finding.where for finding in proof.findings if finding.code == "unreachable-operation"}
    plain = {name.partition("[")[0] for name in never}
    assert plain == {name.partition("[")[0] for truth in truths for name in truth.unreachable}, text


def test_cycle_through_the_order_of_places_names_its_key() -> None:
    written = """\
benchflow: 1
id: t
title: T
revision: A
places: {cap: [1, 2]}
sections:
- title: Caps
  each: cap
  one-by-one: true
  operations:
  - {id: a, title: Fit it}
  - {id: b, title: Seat it, after: [a, x]}
- title: Rest
  operations:
  - {id: x, title: Check it, after: ["a[2]"]}
"""
    procedure = read(written).procedure
    assert procedure is not None
    (found,) = [one for one in prove(procedure).findings if one.code == "order-cycle"]
    assert "“Fit it” (cap 2) comes after “Seat it” (cap 1) by `one-by-one`" in found.message
    assert found.message.endswith("Remove one of the other lines, or correct `one-by-one`.")
