"""The command ``calc``: the calculations of the trade."""

import sys
import textwrap
from shutil import get_terminal_size
from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import listed
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
    from benchflow.trade.calculations.inputs import WordInput, example_inputs

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
    columns = get_terminal_size().columns
    width = max(len(field.name) for field in calculation.fields)
    for field in calculation.fields:
        optional = " (optional)" if field.optional else ""
        if isinstance(field.kind, WordInput):
            text = f"{field.ask}{optional}: {listed(field.kind.choices, 'or')}"
        else:
            text = f"{field.ask}{optional}, such as {field.example}"
        _print_wrapped(f"  {field.name:<{width}}  ", text, columns)
    example = [f"{name}='{value}'" for name, value in example_inputs(calculation).items()]
    print_line("For example:")
    for text in _shell_lines(["benchflow", "calc", calculation.name, *example], columns):
        print_line(text)
    _print_wrapped("Source: ", calculation.source, columns)


def _shell_lines(words: list[str], columns: int) -> list[str]:
    """Return a command on lines of at most ``columns``, which a shell reads as one command."""
    lines = ["  " + words[0]]
    for word in words[1:]:
        if len(lines[-1]) + len(word) + 3 <= columns:
            lines[-1] += " " + word
        else:
            lines[-1] += " \\"
            lines.append("    " + word)
    return lines


def _print_wrapped(start: str, text: str, columns: int) -> None:
    """Print ``start`` and ``text``, wrapped at ``columns`` with a hanging indent."""
    indent = " " * min(len(start), columns // 2)
    for part in textwrap.wrap(
        start + text, columns, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    ):
        print_line(part)


def _print_result(result: "CalculationResult") -> None:
    # Wrapped only for a terminal: a script that reads the output gets each sentence on one line.
    columns = get_terminal_size().columns if sys.stdout.isatty() else 10_000
    print_line(result.title)
    for given in result.given:
        _print_wrapped(f"  {given.title}: ", given.text, columns)
    for caution in result.cautions:
        _print_wrapped(f"{caution.signal.upper()}: ", caution.text, columns)
    for line in result.lines:
        print_line(f"{line.title}: {line.shown}")
        for text in (line.formula, line.filled):
            if text:
                _print_wrapped("    ", text, columns)
    for note in result.notes:
        _print_wrapped("Note: ", note, columns)
    _print_wrapped("Source: ", result.source, columns)
