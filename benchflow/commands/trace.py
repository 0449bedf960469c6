"""The command ``trace``: finds every job with a given instrument, lot, person, operation, reading, figure or source."""

from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from benchflow.commands.console_output import print_json, print_lines
from benchflow.commands.exit_codes import SUCCESS, exit_code_help
from benchflow.commands.loaded_files import load_register
from benchflow.commands.log_search import compiled_folder, search_options, session_source, warn_of_teardowns

if TYPE_CHECKING:
    from benchflow.review.many.session_question import Subject


MOST_ERROR: Final = 50
"""The largest error of an instrument in percent. One that shows twice or half of the true value is broken, and its
readings cannot be corrected. (Own rule.)"""


@click.command(epilog=exit_code_help())
@click.option(
    "--instrument",
    metavar="NAME",
    help="Find jobs with this instrument: its serial number, its id in the register, or its name.",
)
@click.option("--lot", metavar="LOT", help="Find jobs with this lot of a part or consumable.")
@click.option("--person", metavar="NAME", help="Find jobs in which this person worked, measured or signed.")
@click.option("--operation", metavar="ID", help="Find jobs with this operation, at any of its places.")
@click.option("--reading", metavar="NAME", help="Find jobs with this reading, at any of its places.")
@click.option("--figure", metavar="NAME",
              help="Find the jobs by a figure: of a value, a joint, a stage ('head-nuts stage 2'), a choice or a time "
              "('time seal'). Jobs with each figure and edition are listed apart.")  # fmt: skip
@click.option("--source", metavar="NAME",
              help="Find the jobs with figures from this document, or by 'own choice'.")  # fmt: skip
@click.option("--part", metavar="WORDS",
              help="Find these words in teardowns: a part, a mark, a bag, a fate, what was found, a note.")  # fmt: skip
@click.option("--reads-high", metavar="PERCENT",
              help="With --instrument: how far it reads too high. 6 is 6 % too high, -4 is 4 % too low.")  # fmt: skip
@click.option("--below", metavar="QUANTITY", help="With --reading: only readings below this.")
@click.option("--above", metavar="QUANTITY", help="With --reading: only readings above this.")
@click.option("--margin", metavar="PERCENT",
              help="With --reading: only readings with less margin than this percentage of the band.")  # fmt: skip
@search_options
def trace(
    instrument: str | None, lot: str | None, person: str | None, operation: str | None, reading: str | None,
    figure: str | None, source: str | None, part: str | None, reads_high: str | None, below: str | None,
    above: str | None, margin: str | None,
    url: str | None, logs: tuple[Path, ...], since: str, until: str, as_json: bool,
) -> int:  # fmt: skip
    """Find every job with an instrument, a lot, a person, an operation or a reading. The worst comes first.
    An instrument, a person or a reading is found in teardowns too, and what came off there with --part.
    With --figure or --source: the jobs by the figure, and by the edition that it came from.

    With --reads-high, a job counts only where the error is more than the uncertainty that the instrument stated then.

    \b
    For example, a wrench has failed its calibration. Which engines must be called back?
      benchflow trace --instrument T-0117 --from 2026-01-15 --reads-high 6
    """
    from benchflow.quantity import parse_quantity
    from benchflow.review.many import session_question as q
    from benchflow.review.many.trace_search import TraceQuestion
    from benchflow.review.many.trace_search import trace as trace_sessions
    from benchflow.review.many.trace_text import trace_lines

    subjects: list[Subject] = []
    if instrument is not None:
        subjects.append(q.InstrumentSubject(instrument))
    if lot is not None:
        subjects.append(q.LotSubject(lot))
    if person is not None:
        subjects.append(q.PersonSubject(person))
    if operation is not None:
        subjects.append(q.OperationSubject(operation))
    if reading is not None:
        subjects.append(q.ReadingSubject(reading))
    if len(subjects) + sum(each is not None for each in (figure, source, part)) != 1:
        raise click.UsageError(
            "Give exactly one of --instrument, --lot, --person, --operation, --reading, --figure, --source, --part."
        )
    if reading is None and (below or above or margin):
        raise click.UsageError("--below, --above and --margin need --reading.")
    if instrument is None and reads_high:
        raise click.UsageError("--reads-high needs --instrument.")
    if figure is not None or source is not None:
        return _trace_figures(figure or "", source or "", url, logs, q.time_span(since, until), as_json=as_json)
    if part is not None:
        return _trace_part(part, url, logs, q.time_span(since, until), as_json=as_json)
    least_margin = _fraction(margin, "--margin", 100)
    question = TraceQuestion(
        q.Question(subjects[0], *q.time_span(since, until)),
        _fraction(reads_high, "--reads-high", MOST_ERROR),
        None if below is None else parse_quantity(below),
        None if above is None else parse_quantity(above),
        None if least_margin is None else float(least_margin),
    )
    with session_source(url, logs) as searched:
        result = trace_sessions(searched, question, load_register(None))
        if lot is not None or operation is not None:
            warn_of_teardowns(searched, logs, "lots" if lot is not None else "operations")
    if as_json:
        print_json(result)
    else:
        print_lines(trace_lines(result))
    return SUCCESS


def _trace_figures(
    figure: str, source: str, url: str | None, logs: tuple[Path, ...], span: tuple[str, str], *, as_json: bool
) -> int:
    """Print the jobs by a figure, or by the figures of a source."""
    from benchflow.review.many.figure_search import FigureQuestion, trace_figures
    from benchflow.review.many.figure_text import figure_lines
    from benchflow.session.procedure_loading import procedure_reader_with_cache

    if not (figure.strip() or source.strip()):
        raise click.UsageError("Name a figure or a source.")
    with session_source(url, logs) as searched:
        question = FigureQuestion(figure.strip(), source.strip(), *span)
        result = trace_figures(searched, question, procedure_reader_with_cache(compiled_folder()))
        warn_of_teardowns(searched, logs, "figures with a source")
    if as_json:
        print_json(result)
    else:
        print_lines(figure_lines(result))
    return SUCCESS


def _trace_part(words: str, url: str | None, logs: tuple[Path, ...], span: tuple[str, str], *, as_json: bool) -> int:
    """Print the teardowns with an entry of these words."""
    from benchflow.base.plaintext import clean_line
    from benchflow.review.many.teardown_search import TracedParts, trace_teardowns, with_words
    from benchflow.review.many.teardown_text import part_lines

    asked = clean_line(words)
    if not asked:
        raise click.UsageError("Name what to find, such as: --part 'thrust washer'")
    with session_source(url, logs) as searched:
        found = searched.teardowns()
        left_out = tuple(f"{file.path} {file.why}" for file in searched.left_out())
    result = TracedParts(asked, trace_teardowns(found, with_words(asked), *span), len(found), left_out)
    if as_json:
        print_json(result)
    else:
        print_lines(part_lines(result))
    return SUCCESS


def _fraction(percentage: str | None, option: str, most: int) -> Decimal | None:
    """A percentage such as ``6`` or ``-4 %`` as a fraction of 1.

    Raises:
        click.UsageError: the text is not a percentage from ``-most`` to ``most``.
    """
    if percentage is None:
        return None
    try:
        value = Decimal(percentage.strip().removesuffix("%").strip()) / 100
    except InvalidOperation:
        value = Decimal("NaN")
    if not value.is_finite() or not -most <= 100 * value <= most:
        raise click.UsageError(
            f"{option} needs a percentage from -{most} to {most}, such as 6 or -4, not {percentage!r}."
        )
    return value
