"""``sum``: the sums of the trade, from the command line."""

from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.exits import FINE
from benchflow.commands.output import emit, say

if TYPE_CHECKING:
    from benchflow.trade.asking import SumSpec
    from benchflow.trade.worked import Worked


@click.command("sum")
@click.argument("name", metavar="[NAME]", required=False)
@click.argument("answers", metavar="[FIELD=VALUE]...", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def sum_(name: str | None, answers: tuple[str, ...], as_json: bool) -> int:
    """Do one of the sums of the trade, with its formula, the numbers in it and its source.

    Without NAME all sums are listed; with a NAME alone, what it asks for. A value has its unit:

    \b
      benchflow sum wrench torque='90 N·m' lever='400 mm' extension='50 mm'
    """
    from benchflow.trade.sums import SUMS

    if name is None:
        if as_json:
            emit([{"name": spec.name, "title": spec.title} for spec in SUMS.values()])
        else:
            width = max(map(len, SUMS))
            for spec in SUMS.values():
                say(f"{spec.name:<{width}}  {spec.title}")
        return FINE
    if name not in SUMS:
        from benchflow.procedure.problems import hint_for

        hint = hint_for(name, SUMS) or "list them with: benchflow sum"
        raise BenchflowError(f"There is no sum {name!r}: {hint}")
    spec = SUMS[name]
    if not answers:
        _ask(spec, as_json)
        return FINE
    worked = _done(spec, answers)
    if as_json:
        emit(worked)
    else:
        _show(worked)
    return FINE


def _done(spec: "SumSpec", answers: tuple[str, ...]) -> "Worked":
    from benchflow.trade.asking import do

    texts: dict[str, str] = {}
    for answer in answers:
        field, equals, value = answer.partition("=")
        if not equals:
            example = next((f"{one.name}='{one.example}'" for one in spec.fields if one.example), "field=value")
            raise BenchflowError(f"{answer!r} is no FIELD=VALUE; write it like {example}")
        texts[field.strip()] = value
    return do(spec, texts)


def _ask(spec: "SumSpec", as_json: bool) -> None:
    if as_json:
        fields = [
            {"name": one.name, "ask": one.ask, "optional": one.optional, "example": one.example} for one in spec.fields
        ]
        emit({"name": spec.name, "title": spec.title, "source": spec.source, "fields": fields})
        return
    say(spec.title)
    width = max(len(one.name) for one in spec.fields)
    for one in spec.fields:
        left = " (may be left out)" if one.optional else ""
        say(f"  {one.name:<{width}}  {one.ask}{left}, such as {one.example}")
    example = " ".join(f"{one.name}='{one.example}'" for one in spec.fields if not one.optional)
    say(f"For example: benchflow sum {spec.name} {example}")
    say(f"Source: {spec.source}")


def _show(worked: "Worked") -> None:
    say(worked.title)
    for given in worked.given:
        say(f"  {given.title}: {given.text}")
    for line in worked.lines:
        say(f"{line.title}: {line.shown}")
        if line.formula:
            say(f"    {line.formula}")
        if line.filled:
            say(f"    {line.filled}")
    for note in worked.notes:
        say(f"Note: {note}")
    say(f"Source: {worked.source}")
