"""``order``: a procedure as a graph to be looked at, and as a sheet in one safe order."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.exits import FINE, FOUND
from benchflow.commands.finding import find_procedure
from benchflow.commands.output import emit, remark, say, shown

if TYPE_CHECKING:
    from benchflow.ordering.pictures.order_sheet import OrderSheet
    from benchflow.procedure.model import Procedure
    from benchflow.procedure.plan import Plan

_HERE = "-"
"""Standard output, as the name of a file."""


@click.command()
@click.argument("name", metavar="PROCEDURE", required=False)
@click.option("--svg", type=click.Path(path_type=Path), metavar="FILE",
              help="Draw it as a picture; - for standard output.")  # fmt: skip
@click.option("--sheet", is_flag=False, flag_value=_HERE, type=click.Path(path_type=Path), metavar="[FILE.html]",
              help="A sheet to print, in one safe order; to standard output without a FILE.")  # fmt: skip
@click.option("--text", "as_text", is_flag=True, help="The sheet as plain text.")
@click.option("--json", "as_json", is_flag=True, help="The graph as one JSON object; with --sheet, the order.")
@click.option(
    "--option", "chosen", multiple=True, metavar="NAME=CHOICE", help="Answer an option; else its first choice."
)
@click.option("--start", "starts", multiple=True, metavar="STATE=VALUE", help="How a state that is asked for stands.")
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
    """Show a procedure's order: what comes after what, what each operation needs and brings about, how the states
    move, and what must never stand together. PROCEDURE is a file, or the name of one that came along.

    --sheet lays one build out in a safe order, with the reasons beside each line and room to write on it. It is
    safe from the start that it names, and from no other.
    """
    if name is None:
        raise click.UsageError("Name a PROCEDURE, and name it first: benchflow order head-install --sheet")
    plan, start = _build(name, chosen, starts)
    if svg is not None:
        _draw(plan, start, svg)
    if sheet is not None or as_text:
        return _sheet(plan, start, sheet or Path(_HERE), as_text=as_text, as_json=as_json, width=width)
    from benchflow.ordering.pictures.order_graph import grouped_operations, order_graph

    drawn = order_graph(plan, {**start})
    if as_json:
        emit(drawn)
    elif svg is None:
        from benchflow.ordering.pictures.order_graph_text import order_graph_text

        for line in order_graph_text(drawn, grouped_operations(plan, drawn), width=width):
            say(line)
    return FOUND if drawn.circles else FINE


def _draw(plan: "Plan", start: dict[str, str], out: Path) -> None:
    from benchflow.commands.writing import put
    from benchflow.ordering.pictures.order_graph import grouped_operations, order_graph
    from benchflow.ordering.pictures.order_graph_svg import order_graph_svg

    drawn = order_graph(plan, {**start})
    put(order_graph_svg(drawn, grouped_operations(plan, drawn)), out)
    if str(out) != _HERE:
        remark(f"benchflow: drawn in {shown(out)}")


def _sheet(plan: "Plan", start: dict[str, str], out: Path, *, as_text: bool, as_json: bool, width: int) -> int:
    from benchflow.commands.writing import put
    from benchflow.ordering.pictures.order_sheet import NoSafeOrder, lay_out

    made = lay_out(plan, _whole(plan, start))
    if isinstance(made, NoSafeOrder):
        begun = f" After {', '.join(made.done)}:" if made.done else ""
        none = (
            "there is no safe order of the whole build" if made.certain else "no safe order was found, of those tried"
        )
        remark(f"benchflow: {none}, from this start.{begun} {'; '.join(made.reasons)}.")
        remark(f"benchflow: `benchflow check` says more. {_how_to_start(plan)}".rstrip())
        return FOUND
    if not made.time_kept:
        remark("benchflow: in this order the time windows cannot all be kept, however quickly it is done.")
    if as_json:
        emit(_as_json(made))
        return FINE
    from benchflow.review.sheets.order_sheet_page import page

    if as_text:
        from benchflow.review.sheets.order_sheet_text import text

        put("\n".join(text(page(made), width)) + "\n", out)
    else:
        from benchflow.review.sheets.order_sheet_html import html

        put(html(page(made)), out)
    if str(out) != _HERE:
        remark(f"benchflow: written to {shown(out)}")
    return FINE


def _as_json(made: "OrderSheet") -> dict[str, object]:
    return {
        "procedure": made.plan.procedure.id,
        "revision": made.plan.procedure.revision,
        "options": made.plan.options,
        "start": made.start,
        "time_kept": made.time_kept,
        "turns": made.turns,
    }


# --- which build, from which start ------------------------------------------------------------------


def _build(name: str, chosen: Sequence[str], starts: Sequence[str]) -> tuple["Plan", dict[str, str]]:
    """The plan, and the values given for states that are asked for."""
    from benchflow.procedure.expand import expand
    from benchflow.session.procedure_loading import load_procedure

    path = find_procedure(name)
    procedure = load_procedure(path).procedure
    if procedure is None:
        raise BenchflowError(f"{shown(path)} has mistakes, so it has no order yet. See: benchflow check {shown(path)}")
    options = {option.name: option.choices[0] for option in procedure.options if option.choices}
    for key, value in _pairs(chosen, "--option", "name=choice"):
        choices = {option.name: option.choices for option in procedure.options}
        _known(key, choices, "option")
        _known(value, choices[key], f"choice for {key}")
        options[key] = value
    return expand(procedure, options), _start(procedure, starts)


def _start(procedure: "Procedure", starts: Sequence[str]) -> dict[str, str]:
    variables = {variable.name: variable for variable in procedure.state}
    found: dict[str, str] = {}
    for key, value in _pairs(starts, "--start", "state=value"):
        _known(key, variables, "state")
        _known(value, variables[key].values, f"value of {key}")
        fixed = variables[key].start
        if fixed is not None and fixed != value:
            raise BenchflowError(f"--start {key}={value}: the procedure says that it starts at {fixed}.")
        found[key] = value
    return found


def _whole(plan: "Plan", start: dict[str, str]) -> dict[str, str | None]:
    """A value for every state: as given, as the procedure has it, else the first that no rule forbids."""
    from itertools import islice, product

    from benchflow.ordering.interlock import forbidden

    variables = plan.procedure.state
    given = {v.name: start.get(v.name, v.start) for v in variables}
    choices = [v.values if given[v.name] is None else (str(given[v.name]),) for v in variables]
    names = [v.name for v in variables]
    first: dict[str, str | None] = {name: values[0] for name, values in zip(names, choices, strict=True)}
    for values in islice(product(*choices), 10_000):
        whole: dict[str, str | None] = dict(zip(names, values, strict=True))
        if not forbidden(plan, whole):
            return whole
    return first


def _how_to_start(plan: "Plan") -> str:
    asked = [f"{v.name}={'|'.join(v.values)}" for v in plan.procedure.state if v.start is None]
    return f"Other starts: --start {' --start '.join(asked)}" if asked else ""


def _pairs(texts: Iterable[str], flag: str, form: str) -> Iterable[tuple[str, str]]:
    for each in texts:
        key, equals, value = each.partition("=")
        if not equals:
            raise BenchflowError(f"{flag} {each}: write it as {form}.")
        yield key.strip(), value.strip()


def _known(name: str, names: Iterable[str], what: str) -> None:
    from benchflow.procedure.problems import hint_for

    known = list(names)
    if name not in known:
        raise BenchflowError(f"There is no {what} {name!r}. {hint_for(name, known) or 'The procedure asks for none'}")
