"""``calc``: the calculations of engine building, from the command line."""

from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.exits import FINE
from benchflow.commands.output import emit, say

if TYPE_CHECKING:
    from benchflow.trade.calculations.inputs import Calculation
    from benchflow.trade.calculations.result import CalculationResult


@click.command("calc")
@click.argument("name", metavar="[NAME]", required=False)
@click.argument("inputs", metavar="[FIELD=VALUE]...", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def calc(name: str | None, inputs: tuple[str, ...], as_json: bool) -> int:
    """Run a calculation, and show its formula, the numbers filled in and its source.

    Without NAME, all calculations are listed. With NAME alone, its inputs are listed. A value needs its unit:

    \b
      benchflow calc wrench torque='90 N·m' lever='400 mm' extension='50 mm'
    """
    from benchflow.trade.calculations.table import CALCULATIONS

    if name is None:
        if as_json:
            emit([{"name": one.name, "title": one.title} for one in CALCULATIONS.values()])
        else:
            width = max(map(len, CALCULATIONS))
            for one in CALCULATIONS.values():
                say(f"{one.name:<{width}}  {one.title}")
        return FINE
    if name not in CALCULATIONS:
        from benchflow.procedure.problems import hint_for

        hint = hint_for(name, CALCULATIONS) or "List them with `benchflow calc`"
        raise BenchflowError(f"There is no calculation {name!r}. {hint}")
    calculation = CALCULATIONS[name]
    if not inputs:
        _list_inputs(calculation, as_json)
        return FINE
    result = _run(calculation, inputs)
    if as_json:
        emit(result)
    else:
        _print(result)
    return FINE


def _run(calculation: "Calculation", inputs: tuple[str, ...]) -> "CalculationResult":
    from benchflow.trade.calculations.inputs import run_calculation

    texts: dict[str, str] = {}
    for text in inputs:
        field, equals, value = text.partition("=")
        if not equals:
            example = next((f"{one.name}='{one.example}'" for one in calculation.fields if one.example), "field=value")
            raise BenchflowError(f"{text!r} is not FIELD=VALUE. Write it like {example}")
        texts[field.strip()] = value
    return run_calculation(calculation, texts)


def _list_inputs(calculation: "Calculation", as_json: bool) -> None:
    if as_json:
        fields = [
            {"name": one.name, "ask": one.ask, "optional": one.optional, "example": one.example}
            for one in calculation.fields
        ]
        emit({"name": calculation.name, "title": calculation.title, "source": calculation.source, "fields": fields})
        return
    say(calculation.title)
    width = max(len(one.name) for one in calculation.fields)
    for one in calculation.fields:
        optional = " (optional)" if one.optional else ""
        say(f"  {one.name:<{width}}  {one.ask}{optional}, such as {one.example}")
    example = " ".join(f"{one.name}='{one.example}'" for one in calculation.fields if not one.optional)
    say(f"For example: benchflow calc {calculation.name} {example}")
    say(f"Source: {calculation.source}")


def _print(result: "CalculationResult") -> None:
    say(result.title)
    for given in result.given:
        say(f"  {given.title}: {given.text}")
    for line in result.lines:
        say(f"{line.title}: {line.shown}")
        if line.formula:
            say(f"    {line.formula}")
        if line.filled:
            say(f"    {line.filled}")
    for note in result.notes:
        say(f"Note: {note}")
    say(f"Source: {result.source}")
