"""Commands for afterwards, over single sessions: ``sheet``, ``review``, ``compare``, ``export``."""

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.exits import FINE, FOUND
from benchflow.commands.finding import find_log
from benchflow.commands.output import emit, remark, say, shown
from benchflow.commands.writing import put

if TYPE_CHECKING:
    from benchflow.review.evidence.assessment import Review
    from benchflow.review.log.loaded_log import LoadedLog
    from benchflow.session.shop.register import Shop


def _on_a_terminal() -> bool:
    """Whether there is a screen to draw on and keys to read from."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def _loaded(name: str) -> "LoadedLog":
    from benchflow.review.log.loaded_log import load_log
    from benchflow.session.procedure_loading import reader

    return load_log(find_log(name), reader())


def _shop(path: Path | None) -> "Shop | None":
    """The register in ``path``, or this machine's own; none where there is none."""
    from benchflow.session.machine_folders import places

    where = path or places().shop
    if path is None and not where.exists():
        return None
    from benchflow.session.shop.live_register import Register

    shop = Register(where, places().compiled).shop()
    if shop is None:
        raise BenchflowError(f"There is no shop file {where}.")
    return shop


def print_lines(lines: Iterable[str]) -> None:
    for line in lines:
        say(line)


def remark_all(warnings: Iterable[str]) -> None:
    for warning in warnings:
        remark(f"benchflow: {warning}")


def paths_of(named: Iterable[Path]) -> list[Path]:
    """Logs named, and those in folders named."""
    from benchflow.review.log.log_file import a_file, logs_under

    found: list[Path] = []
    for path in named:
        found += logs_under(path) if path.is_dir() else [a_file(find_log(str(path)))]
    return found


# --- one session ------------------------------------------------------------------------------------


@click.command()
@click.argument("name", metavar="LOG")
@click.option("-o", "--out", type=click.Path(path_type=Path), help="Where to; - for standard output.")
@click.option("--markdown", "as_markdown", is_flag=True, help="As Markdown, to standard output unless -o says where.")
@click.option("--json", "as_json", is_flag=True, help="As one JSON object, to standard output.")
def sheet(name: str, out: Path | None, as_markdown: bool, as_json: bool) -> int:
    """Make the build sheet of a session: what was built, by which procedure, every reading against its limit, every
    fastener, parts and lots, instruments, names, what was taken back, and what is still to be done.

    Without more it is one page of HTML beside the log, that needs nothing else and prints on A4 or Letter.
    """
    from benchflow.review.sheets.build_sheet import sheet as make

    told = _loaded(name)
    made = make(told)
    if as_json:
        emit(made)
    elif as_markdown:
        from benchflow.review.sheets.build_sheet_markdown import markdown

        put(markdown(made), out)
    else:
        from benchflow.review.sheets.build_sheet_html import html

        out = out or Path(told.path).with_suffix(".html")
        put(html(made), out)
        if str(out) != "-":
            say(shown(out))
    return FINE if made.sound else FOUND


@click.command()
@click.argument("name", metavar="LOG")
@click.argument("complaint", required=False)
@click.option("--search", metavar="WORDS", help="Instead of a complaint: words in the texts of the operations.")
@click.option("--all", "every", is_flag=True, help="Tell everything about every guard, not only the suspects.")
@click.option("--shop", type=click.Path(path_type=Path), help="The register that tells which instruments are in doubt.")
@click.option("--rule", "show_rule", is_flag=True, help="Show the rule by which evidence is called weak.")
@click.option("--text", "as_text", is_flag=True, help="Print it, on a terminal too; --all and --rule do the same.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object, the rule with it.")
def review(
    name: str, complaint: str | None, search: str | None, every: bool, shop: Path | None, show_rule: bool,
    as_text: bool, as_json: bool,
) -> int:  # fmt: skip
    """It came back. What guarded against it, and how weak is the evidence, the weakest first.

    On a terminal it opens a screen, from which the moment, the procedure's text and the readings are one key away.
    COMPLAINT is one of the procedure's failures, by its name or its words; without one it is asked for on the screen,
    and in print everything is looked at.
    """
    told = _loaded(name)
    register = _shop(shop)
    if _on_a_terminal() and not (as_json or as_text or every or show_rule):
        from benchflow.tui.review import show_review

        asked = None if complaint is None and search is None else _reviewed(told, complaint, search, register)
        return show_review(told, register, asked) or (FINE if told.damage is None else FOUND)
    found = _reviewed(told, complaint, search, register)
    if as_json:
        emit({**_with_properties(found), "session": told.facts.session})
        return FINE if told.damage is None else FOUND
    from benchflow.review.answer_text import review as in_text

    print_lines(in_text(found, every=every))
    if show_rule:
        say()
        print_lines(found.rule)
    if complaint is None and search is None and found.failures:
        remark("")
        remark("Name a complaint to see only what guarded against it:")
        for failure in found.failures:
            remark(f"  {failure.id:<24} {failure.text}")
    return FINE if told.damage is None else FOUND


def _reviewed(told: "LoadedLog", complaint: str | None, search: str | None, shop: "Shop | None") -> "Review":
    from benchflow.review.evidence.assessment import by_failure, by_search, find_failure, of_everything

    if search is not None:
        return by_search(told, search, shop)
    if complaint is None:
        return of_everything(told, shop)
    failure = find_failure(told, complaint)
    if failure is None:
        names = ", ".join(failure.id for failure in told.procedure.failures) or "none"
        raise BenchflowError(
            f"The procedure knows no complaint {complaint!r}. It has: {names}. Or search: --search {complaint!r}"
        )
    return by_failure(told, failure, shop)


def _with_properties(found: "Review") -> dict[str, Any]:
    """The review as JSON, with each guard's grade and each reason's written out."""
    import msgspec

    plain: dict[str, Any] = msgspec.to_builtins(found)
    for guard, of in zip(plain["guards"], found.guards, strict=True):
        guard["grade"], guard["suspect"] = of.grade, of.suspect
        for reason, of_reason in zip(guard["reasons"], of.reasons, strict=True):
            reason["grade"], reason["title"] = of_reason.grade, of_reason.title
    return plain


@click.command()
@click.argument("left", metavar="LOG")
@click.argument("right", metavar="LOG")
@click.option("--text", "as_text", is_flag=True, help="Print it, on a terminal too.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def compare(left: str, right: str, as_text: bool, as_json: bool) -> int:
    """Hold two builds side by side: by the same procedure or by two revisions of it; what differs first, readings,
    times, parts and people. On a terminal it opens a screen."""
    from benchflow.review.many.comparison import compare as held

    one, other = _loaded(left), _loaded(right)
    found = held(one, other)
    if as_json:
        emit({**_plain(found), "first": found.first})
    elif _on_a_terminal() and not as_text:
        from benchflow.tui.review import show_comparison

        return show_comparison(one, other, found)
    else:
        from benchflow.review.answer_text import comparison

        print_lines(comparison(found))
    return FINE


def _plain(value: Any) -> dict[str, Any]:
    import msgspec

    plain: dict[str, Any] = msgspec.to_builtins(value)
    return plain


# --- for other programs -------------------------------------------------------------------------------


@click.command()
@click.argument("names", nargs=-1, required=True, metavar="LOG...")
@click.option(
    "--as", "form", required=True, type=click.Choice(["csv", "jsonl", "xes", "ical", "markdown"]),
    help="csv: a row an event. jsonl: JSON Lines. xes: an event log, IEEE 1849. ical: to-dos for open items, "
    "RFC 5545. markdown: build sheets.",
)  # fmt: skip
@click.option("-o", "--out", type=click.Path(path_type=Path), help="Where to; standard output otherwise.")
def export(names: tuple[str, ...], form: str, out: Path | None) -> int:
    """Hand sessions to other programs."""
    from benchflow.session.state.events import FORMAT

    paths = paths_of(Path(name) for name in names)
    if form in ("csv", "jsonl"):
        from benchflow.review.interchange.flat import as_csv, as_json_lines
        from benchflow.review.log.loaded_log import load_log
        from benchflow.session.procedure_loading import reader

        logs = [load_log(path, reader(), any_procedure=True) for path in paths]
        write = as_csv if form == "csv" else as_json_lines
        put("".join(write(logs)), out)
        damaged = [log.path for log in logs if log.damage is not None]
    else:
        logs = [_loaded(str(path)) for path in paths]
        put(_exported(logs, form), out)
        damaged = [told.path for told in logs if told.damage is not None]
    old = [log for log in logs if log.format < FORMAT]
    remark_all(
        f"{log.path} has the old format {log.format}. Its kinds of events are exported as they were written."
        for log in old
    )
    remark_all(f"{path} is damaged; only what stands before that was handed on." for path in damaged)
    return FOUND if damaged else FINE


def _exported(logs: "list[LoadedLog]", form: str) -> str | bytes:
    if form == "xes":
        from benchflow.review.interchange.xes import as_xes

        return as_xes(logs)
    if form == "ical":
        from benchflow.review.interchange.calendar import as_calendar

        return as_calendar(logs)
    from benchflow.review.sheets.build_sheet import sheet as make
    from benchflow.review.sheets.build_sheet_markdown import markdown

    return "\n".join(markdown(make(told)) for told in logs)
