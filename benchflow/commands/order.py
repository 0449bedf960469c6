"""The command ``order``: shows a procedure as a graph, or as a printed sheet in one safe order."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import sentence
from benchflow.commands.console_output import display_path, print_json, print_lines, print_warning
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.file_lookup import find_procedure
from benchflow.commands.output_file import STANDARD_OUTPUT, write_output
from benchflow.commands.progress_line import ProgressLine
from benchflow.procedure.problems import hint_for

if TYPE_CHECKING:
    from benchflow.ordering.pictures.order_sheet import OrderSheet
    from benchflow.procedure.model import Procedure
    from benchflow.procedure.plan import Plan

_SHEETS = (".html", ".htm", ".txt")
_PROCEDURES = (".yaml", ".yml")
_MOST_STARTS = 10_000
"""The largest number of combinations of start values to try, to find one that no rule forbids."""


@click.command(epilog=exit_code_help("There is no safe order, or `after` runs in a cycle."))
@click.argument("name", metavar="PROCEDURE", required=False)
@click.option("--svg", type=click.Path(path_type=Path), metavar="FILE",
              help="Draw the graph as a picture. `-` is standard output.")  # fmt: skip
@click.option("--sheet", is_flag=False, flag_value=str(STANDARD_OUTPUT), type=click.Path(path_type=Path),
              metavar="[FILE.html]",
              help="Make a sheet to print, in one safe order. Without a FILE: to standard output.")  # fmt: skip
@click.option("--text", "as_text", is_flag=True, help="Make the sheet as plain text.")
@click.option("--json", "as_json", is_flag=True, help="Print the graph as one JSON object. With --sheet: the order.")
@click.option(
    "--option", "chosen", multiple=True, metavar="NAME=CHOICE",
    help="Set the choice for an option. The default is the first choice. May be repeated.",
)  # fmt: skip
@click.option("--start", "starts", multiple=True, metavar="STATE=VALUE",
              help="Set the start value of a state that the procedure asks for. May be repeated.")  # fmt: skip
@click.option("--width", type=click.IntRange(40, 400), default=100, show_default=True, help="Columns of plain text.")
def order(
    name: str | None,
    svg: Path | None,
    sheet: Path | None,
    as_text: bool,
    as_json: bool,
    chosen: tuple[str, ...],
    starts: tuple[str, ...],
    width: int,
) -> int:
    """Show the order of PROCEDURE: which operation comes after which, what each one needs and sets, how the states
    change, and what is forbidden. PROCEDURE is a file, or the name of a shipped procedure.

    With --sheet or --text, one build is printed in a safe order, with reasons and room to write. The order is safe
    only from the start that is printed on the sheet.
    """
    name, sheet = _procedure_and_sheet(name, sheet)
    if name is None:
        raise click.UsageError("Name a PROCEDURE before the options: benchflow order head-install --sheet")
    plan, start = _plan_and_start(name, chosen, starts)
    if svg is not None:
        _write_picture(plan, start, svg)
    if sheet is not None or as_text:
        return _write_sheet(plan, start, sheet or STANDARD_OUTPUT, as_text=as_text, as_json=as_json, width=width)
    from benchflow.ordering.called_work import plan_to_draw
    from benchflow.ordering.pictures.order_graph import grouped_operations, order_graph

    plan = plan_to_draw(plan.procedure, plan.options)
    graph = order_graph(plan, {**start})
    if as_json:
        print_json(graph)
    elif svg is None:
        from benchflow.ordering.pictures.order_graph_text import order_graph_text

        print_lines(order_graph_text(graph, grouped_operations(plan, graph), width=width))
    return PROBLEM_FOUND if graph.cycles else SUCCESS


def _procedure_and_sheet(name: str | None, sheet: Path | None) -> tuple[str | None, Path | None]:
    """The procedure and the file of the sheet, in whatever order they are written around `--sheet`.

    `--sheet` takes the word after it as its file, also where that is the procedure.

    Raises:
        click.UsageError: the sheet would be written over a procedure.
    """
    if sheet is None or sheet == STANDARD_OUTPUT or sheet.suffix.lower() in _SHEETS:
        return name, sheet
    if name is None:
        return str(sheet), STANDARD_OUTPUT
    if Path(name).suffix.lower() in _SHEETS:
        return str(sheet), Path(name)
    if sheet.suffix.lower() in _PROCEDURES:
        raise click.UsageError(f"{sheet} is a procedure. Name another file for the sheet: --sheet FILE.html")
    return name, sheet


def _write_picture(plan: "Plan", start: dict[str, str], out: Path) -> None:
    from benchflow.ordering.called_work import plan_to_draw
    from benchflow.ordering.pictures.order_graph import grouped_operations, order_graph
    from benchflow.ordering.pictures.order_graph_svg import order_graph_svg

    plan = plan_to_draw(plan.procedure, plan.options)
    graph = order_graph(plan, {**start})
    write_output(order_graph_svg(graph, grouped_operations(plan, graph)), out)
    if out != STANDARD_OUTPUT:
        print_warning(f"The picture was written to {display_path(out)}")


def _write_sheet(plan: "Plan", start: dict[str, str], out: Path, *, as_text: bool, as_json: bool, width: int) -> int:
    """Write the sheet in one safe order, or report why there is none. Returns the exit code."""
    from benchflow.ordering.pictures.order_sheet import NoSafeOrder, lay_out

    with ProgressLine() as line:
        made = lay_out(
            plan,
            _complete_start(plan, start),
            lambda count: line.show(f"{plan.procedure.id}: {count:,} configurations searched for a safe order"),
        )
    if isinstance(made, NoSafeOrder):
        result = (
            "From this start there is no safe order of the whole build."
            if made.certain
            else "From this start no safe order was found, but not every order was tried."
        )
        done = f" It ends after {', '.join(made.done)}." if made.done else ""
        print_warning(f"{result}{done} {' '.join(sentence(reason) for reason in made.reasons)}")
        print_warning(f"For details: benchflow check. {_other_starts(plan)}".rstrip())
        return PROBLEM_FOUND
    if not made.time_kept:
        print_warning("This order cannot keep all time windows, however quickly you work.")
    if as_json:
        print_json(_sheet_as_json(made))
        return SUCCESS
    from benchflow.review.sheets.order_sheet_page import order_sheet_page

    if as_text:
        from benchflow.review.sheets.order_sheet_text import order_sheet_text

        write_output("\n".join(order_sheet_text(order_sheet_page(made), width)) + "\n", out)
    else:
        from benchflow.review.sheets.order_sheet_html import order_sheet_html

        write_output(order_sheet_html(order_sheet_page(made)), out)
    if out != STANDARD_OUTPUT:
        print_warning(f"The sheet was written to {display_path(out)}")
    return SUCCESS


def _sheet_as_json(made: "OrderSheet") -> dict[str, object]:
    return {
        "procedure": made.plan.procedure.id,
        "revision": made.plan.procedure.revision,
        "options": made.plan.options,
        "start": made.start,
        "time_kept": made.time_kept,
        "turns": made.turns,
    }


# --- options and start ------------------------------------------------------------------------------


def _plan_and_start(name: str, chosen: Sequence[str], starts: Sequence[str]) -> tuple["Plan", dict[str, str]]:
    """Return the plan with the ``chosen`` options, and the start values of its states from ``starts``.

    Raises:
        BenchflowError: the procedure has mistakes, or a name or a value is unknown.
    """
    from benchflow.procedure.expand import expand
    from benchflow.procedure.waits_as_needs import with_waits_as_needs
    from benchflow.session.procedure_loading import load_procedure

    path = find_procedure(name)
    procedure = load_procedure(path).procedure
    if procedure is None:
        file = display_path(path)
        raise BenchflowError(f"{file} has mistakes, so its order cannot be shown. To list them: benchflow check {file}")
    options = {option.name: option.choices[0] for option in procedure.options if option.choices}
    for key, value in _pairs(chosen, "--option", "name=choice"):
        choices = {option.name: option.choices for option in procedure.options}
        _require_known(key, choices, "option")
        _require_known(value, choices[key], f"choice for {key}")
        options[key] = value
    return with_waits_as_needs(expand(procedure, options)), _start_values(procedure, starts)


def _start_values(procedure: "Procedure", starts: Sequence[str]) -> dict[str, str]:
    """The values from the ``--start`` arguments, by state variable."""
    variables = procedure.variables_by_name
    values: dict[str, str] = {}
    for key, value in _pairs(starts, "--start", "state=value"):
        _require_known(key, variables, "state")
        _require_known(value, variables[key].values, f"value of {key}")
        fixed = variables[key].start
        if fixed is not None and fixed != value:
            raise BenchflowError(f"--start {key}={value} is not possible. The procedure fixes its start at {fixed}.")
        values[key] = value
    return values


def _complete_start(plan: "Plan", start: dict[str, str]) -> dict[str, str | None]:
    """A start value for every state: from ``start``, from the procedure, or the first that no rule forbids."""
    from itertools import islice, product

    from benchflow.ordering.interlock import forbidden

    variables = plan.procedure.state
    given = {v.name: start.get(v.name, v.start) for v in variables}
    choices = [v.values if given[v.name] is None else (str(given[v.name]),) for v in variables]
    names = [v.name for v in variables]
    first: dict[str, str | None] = {name: values[0] for name, values in zip(names, choices, strict=True)}
    for values in islice(product(*choices), _MOST_STARTS):
        complete: dict[str, str | None] = dict(zip(names, values, strict=True))
        if not forbidden(plan, complete):
            return complete
    return first


def _other_starts(plan: "Plan") -> str:
    asked = [f"{v.name}={'|'.join(v.values)}" for v in plan.procedure.state if v.start is None]
    return f"Other starts: --start {' --start '.join(asked)}" if asked else ""


def _pairs(texts: Iterable[str], flag: str, form: str) -> Iterable[tuple[str, str]]:
    """Each ``key=value`` text as a pair."""
    for text in texts:
        key, equals, value = text.partition("=")
        if not equals:
            raise BenchflowError(f"{flag} {text} has no `=`. Write it as {form}.")
        yield key.strip(), value.strip()


def _require_known(name: str, names: Iterable[str], kind: str) -> None:
    """Raise an error with a suggestion if ``name`` is not one of ``names``."""
    known = list(names)
    if name not in known:
        hint = hint_for(name, known, f"The procedure has no {kind}.")
        raise BenchflowError(f"There is no {kind} {name!r}. {hint}".rstrip())
