"""The command ``calc``: the calculations of the trade."""

from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_json, print_line
from benchflow.commands.exit_codes import SUCCESS, exit_code_help
from benchflow.procedure.problems import hint_for

if TYPE_CHECKING:
    from benchflow.trade.calculations.inputs import Calculation
    from benchflow.trade.calculations.result import CalculationResult


@click.command(epilog=exit_code_help())
@click.argument("name", metavar="[NAME]", required=False)
@click.argument("inputs", metavar="[FIELD=VALUE]...", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def calc(name: str | None, inputs: tuple[str, ...], as_json: bool) -> int:
    """Run the calculation NAME. Show its result, its formula with the numbers filled in, and its source.

    Without NAME, list all calculations. With NAME alone, list its inputs. Each value needs its unit:

    \b
      benchflow calc wrench torque='90 N·m' lever='400 mm' extension='50 mm'
    """
    from benchflow.trade.calculations.table import CALCULATIONS

    if name is None:
        if as_json:
            print_json([{"name": one.name, "title": one.title} for one in CALCULATIONS.values()])
        else:
            width = max(map(len, CALCULATIONS))
            for one in CALCULATIONS.values():
                print_line(f"{one.name:<{width}}  {one.title}")
        return SUCCESS
    if name not in CALCULATIONS:
        hint = hint_for(name, CALCULATIONS) or "To list them: benchflow calc"
        raise BenchflowError(f"There is no calculation {name!r}. {hint}")
    calculation = CALCULATIONS[name]
    if not inputs:
        _list_inputs(calculation, as_json)
        return SUCCESS
    result = _run(calculation, inputs)
    if as_json:
        print_json(result)
    else:
        _print_result(result)
    return SUCCESS


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
            {"name": field.name, "ask": field.ask, "optional": field.optional, "example": field.example}
            for field in calculation.fields
        ]
        print_json(
            {"name": calculation.name, "title": calculation.title, "source": calculation.source, "fields": fields}
        )
        return
    print_line(calculation.title)
    width = max(len(field.name) for field in calculation.fields)
    for field in calculation.fields:
        optional = " (optional)" if field.optional else ""
        print_line(f"  {field.name:<{width}}  {field.ask}{optional}, such as {field.example}")
    example = " ".join(f"{field.name}='{field.example}'" for field in calculation.fields if not field.optional)
    print_line(f"For example: benchflow calc {calculation.name} {example}")
    print_line(f"Source: {calculation.source}")


def _print_result(result: "CalculationResult") -> None:
    print_line(result.title)
    for given in result.given:
        print_line(f"  {given.title}: {given.text}")
    for line in result.lines:
        print_line(f"{line.title}: {line.shown}")
        if line.formula:
            print_line(f"    {line.formula}")
        if line.filled:
            print_line(f"    {line.filled}")
    for note in result.notes:
        print_line(f"Note: {note}")
    print_line(f"Source: {result.source}")
