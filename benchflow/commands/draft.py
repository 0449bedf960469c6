"""The command ``draft``: drafts a procedure from a teardown, or from a table or list of steps."""

import re
import sys
from contextlib import suppress
from pathlib import Path
from shutil import get_terminal_size
from textwrap import wrap

import click

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.commands.console_output import display_path, print_line, print_message, print_warning
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.file_lookup import exists, find_log
from benchflow.commands.output_file import refuse_protected, write_output
from benchflow.review.formatting import count
from benchflow.writing.drafts.collision_questions import ask_collisions
from benchflow.writing.drafts.collision_rules import write_collisions, write_questions
from benchflow.writing.drafts.draft_book import DraftBook, KeptText
from benchflow.writing.drafts.draft_source import read_draft_source

LISTS = (".csv", ".tsv", ".txt", ".md", ".markdown", ".mdown")
_MOST_SHOWN = 30


@click.command(epilog=exit_code_help("A figure was not understood. The draft is written, with its words kept in it."))
@click.argument("source", metavar="TEARDOWN-LOG|LIST.csv|LIST.md")
@click.option(
    "-o",
    "--out",
    "output",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The file to write. `-` is standard output.",
)
@click.option("--questions/--no-questions", default=None,
              help="Ask what can hit or block what. Without a terminal they are written into the file.")  # fmt: skip
@click.option("--force", is_flag=True, help="Write over FILE if it exists.")
def draft(source: str, output: Path | None, questions: bool | None, force: bool) -> int:
    """Draft a procedure: from the log of a teardown, or from a table (CSV) or a list (Markdown) of steps.

    TEARDOWN-LOG is a log, or a part of its file name, such as the serial number of the unit.

    The assembly is the teardown in reverse. A figure that has to come from the manual is written as `ask`. List these
    figures with `check --to-fill`; the bench asks for the rest. Columns of a table are recognised by their headings,
    such as step, torque, limit, unit, tool, note, part, quantity. What is not understood is kept word for word as a
    comment, and listed here.
    """
    if output is None:
        raise click.UsageError("Name the file to write: -o FILE. For standard output: -o -")
    if output != Path("-") and output.exists() and not force:
        raise BenchflowError(f"{output} exists and is not overwritten. Choose another name, or add --force.")
    with suppress(OSError):  # the write reports it
        refuse_protected(output, over_procedure=True)
    path = _source_path(source)
    found = read_draft_source(path)
    book = found.book
    titles = found.titles
    asks = sys.stdin.isatty() and sys.stderr.isatty() if questions is None else questions
    if asks:
        _say("A draft has no collision rules yet. Answer which parts can hit or block each other.")
        _say("Enter alone means no. b goes back. q ends the questions, and keeps what was answered.")
        for question in book.questions:  # collisions that the words of the list forbid
            _say(question)
        unasked: list[str] = []
        locks = tuple(book.locks.values())
        write_collisions(book, ask_collisions(titles, _ask, _say, locks, unasked))
        book.questions += [f"- Not asked: {question}" for question in unasked] if book.interference else []
    if not book.interference:
        write_questions(book, titles)
    text = book.text()
    write_output(text, output, over_procedure=force)
    return _report(book, found.remarks, text, output)


def _source_path(name: str) -> Path:
    """The file with this path, or the log of the teardown whose file name contains ``name``."""
    path = Path(name)
    if exists(path) or path.suffix.lower() in LISTS or len(path.parts) > 1:
        return path
    return find_log(name, kind="teardown")


def _say(text: str) -> None:
    """Print a text on standard error, wrapped between words."""
    print_warning(_wrapped(text, beside=12))


def _wrapped(text: str, beside: int) -> str:
    """``text`` in lines of the terminal's width, less ``beside`` columns."""
    return "\n".join(wrap(text, max(min(get_terminal_size().columns, 110) - beside, 30), subsequent_indent="  "))


def _ask(question: str, default: str) -> str:
    try:
        above = "\n" if question.startswith("Question") else ""
        print_message(f"{above}{_wrapped(question, beside=2)}")
        if default and len(default) > 1:
            print_message(_wrapped(f"  Enter alone: {default}", beside=2))
        answer: str = click.prompt(">", default=default, show_default=False, prompt_suffix=" ", err=True)
    except click.Abort:
        raise BenchflowError(
            "Stopped at a question. Nothing was written. To draft without questions: --no-questions"
        ) from None
    return answer.strip()


def _kept_words(book: DraftBook) -> list[str]:
    """The words that were kept: one line for each reason, with the places in their order."""
    by_reason: dict[str, list[KeptText]] = {}
    for kept in book.kept:
        if not kept.refused:
            by_reason.setdefault(kept.why, []).append(kept)
    found = []
    for why, texts in by_reason.items():
        ordered = sorted(texts, key=lambda kept: int((re.findall(r"\d+", kept.place) or ["0"])[0]))
        words = "; ".join(f"{kept.place} {clean_line(kept.text)[:80]}" for kept in ordered[:_MOST_SHOWN])
        more = f"; and {len(ordered) - _MOST_SHOWN} more" if len(ordered) > _MOST_SHOWN else ""
        found.append(f"kept ({why}): {words}{more}")
    return found


def _report(book: DraftBook, remarks: tuple[str, ...], text: str, output: Path) -> int:
    """Print what was drafted, what was kept as words, and what to do next. Returns the exit code."""
    from benchflow.procedure.figures_to_fill import figures_to_fill
    from benchflow.procedure.reader import read

    result = read(text, str(output))
    for remark in remarks:
        print_warning(f"note: {remark}")
    refusals = [kept for kept in book.kept if kept.refused]
    for kept in refusals[:_MOST_SHOWN]:
        print_warning(f"not read: {kept.line}")
    if len(refusals) > _MOST_SHOWN:
        print_warning(f"and {len(refusals) - _MOST_SHOWN} more, each a comment in the draft")
    for line in _kept_words(book):
        print_warning(_wrapped(line, beside=12))
    for left in book.left_figures[:_MOST_SHOWN]:
        print_warning(f"not taken, only in words: {left}")
    for problem in result.problems:
        if problem.severity == "error":
            print_warning(f"the draft has a mistake: {problem}")
    asked = 0 if result.procedure is None else len(figures_to_fill(result.procedure))
    refused = sum(kept.refused for kept in book.kept)
    counts = [
        count(len(book.operations), "operation"),
        count(sum(len(each.get("record", ())) for each in book.operations), "value"),
        count(len(book.joints), "joint"),
        f"{count(asked, 'figure')} to be filled in",
    ]
    if book.kept:
        counts.append(f"{len(book.kept)} kept as words ({count(refused, 'figure')} not read)")
    if book.left_in_words:
        counts.append(f"{count(book.left_in_words, 'figure')} in the words of steps not taken")
    name = "standard output" if output == Path("-") else display_path(output)
    show = print_warning if output == Path("-") else print_line
    show(f"{name}: {', '.join(counts)}.")
    if output != Path("-"):
        show(f"Next: benchflow check {name}")
    return PROBLEM_FOUND if refused or result.procedure is None else SUCCESS
