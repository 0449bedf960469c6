"""Commands over many sessions: ``trace``, ``trend``, ``archive``."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.exits import FINE, FOUND
from benchflow.commands.output import emit, remark, shown
from benchflow.commands.review import paths_of, print_lines
from benchflow.commands.writing import put

if TYPE_CHECKING:
    from benchflow.review.archive.database import Database
    from benchflow.review.archive.filing_report import FilingReport
    from benchflow.review.many.session_question import SessionSource, Subject


def _bench() -> str:
    """This machine's name, as the archive knows it."""
    from socket import gethostname

    return gethostname()


def _compiled() -> Path:
    """The folder with the compiled forms of procedures."""
    from benchflow.session.machine_folders import places

    return places().compiled


def _default_archive() -> str:
    from benchflow.session.machine_folders import make_folder, places

    return str(make_folder(places().data) / "archive.sqlite")


@contextmanager
def _opened(url: str | None, *, fresh: bool = False) -> Iterator["Database"]:
    from benchflow.review.archive.database import open_database

    database = open_database(url or _default_archive(), fresh=fresh)
    try:
        yield database
    finally:
        database.close()


@contextmanager
def _source(url: str | None, logs: tuple[Path, ...]) -> Iterator["SessionSource"]:
    """What a question is put to: the logs named; else the archive named; else this machine's own archive, which is
    brought up to date first."""
    if logs:
        from benchflow.review.many.log_scan import LogFiles

        yield LogFiles(paths_of(logs), compiled=_compiled())
        return
    from benchflow.review.archive.index import ArchiveIndex
    from benchflow.session.machine_folders import places

    with _opened(url) as database:
        folder = places().sessions
        if url is None and folder.is_dir():
            from benchflow.review.archive.filing import file_logs
            from benchflow.review.log.log_file import logs_under

            file_logs(database, logs_under(folder), _bench(), folders=[folder], compiled=_compiled())
        yield ArchiveIndex(database)


def _where_from(command: Callable[..., int]) -> Callable[..., int]:
    """The options that say what is searched, and between which dates."""
    options = (
        click.option("--archive", "url", metavar="URL", help="The archive to ask; this machine's own otherwise."),
        click.option(
            "--logs", multiple=True, type=click.Path(path_type=Path),
            help="Ask these logs or folders of logs themselves, without any archive. May be given again.",
        ),
        click.option("--from", "since", metavar="DATE", default="", help="From this local day, or this time, on."),
        click.option("--to", "until", metavar="DATE", default="", help="Up to this local day's end, or this time."),
        click.option("--json", "as_json", is_flag=True, help="One JSON object."),
    )  # fmt: skip
    for option in reversed(options):  # click shows the last one put on first
        command = option(command)
    return command


@click.command()
@click.option("--instrument", metavar="SERIAL", help="By its serial number.")
@click.option("--lot", metavar="LOT", help="By the lot of a part or consumable.")
@click.option("--person", metavar="NAME", help="Whoever did, measured or signed it.")
@click.option("--operation", metavar="ID", help="By an operation; with all its places.")
@click.option("--reading", metavar="NAME", help="By a value; with all its places.")
@click.option(
    "--reads-high", metavar="PERCENT", help="The instrument was found to read this much too high (-4: too low)."
)
@click.option("--below", metavar="QUANTITY", help="With --reading: only readings below this.")
@click.option("--above", metavar="QUANTITY", help="With --reading: only readings above this.")
@click.option("--room", metavar="PERCENT", help="With --reading: only those with less of their band left.")
@_where_from
def trace(
    instrument: str | None, lot: str | None, person: str | None, operation: str | None, reading: str | None,
    reads_high: str | None, below: str | None, above: str | None, room: str | None,
    url: str | None, logs: tuple[Path, ...], since: str, until: str, as_json: bool,
) -> int:  # fmt: skip
    """Find every session that an instrument, a lot, a person, an operation or a reading touches, the worst first.

    \b
    A wrench has failed its calibration; which engines must be called back?
      benchflow trace --instrument T-0117 --from 2026-01-15 --reads-high 6
    """
    from benchflow.quantity import parse_quantity
    from benchflow.review.many import session_question as q
    from benchflow.review.many import trace as t

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
    if len(subjects) != 1:
        raise click.UsageError("Say what to trace: one of --instrument, --lot, --person, --operation, --reading.")
    if reading is None and (below or above or room):
        raise click.UsageError("--below, --above and --room go with --reading.")
    if instrument is None and reads_high:
        raise click.UsageError("--reads-high goes with --instrument.")
    question = q.Question(subjects[0], q.timestamp_of(since), q.timestamp_of(until, end_of_day=True))
    ask = t.TraceQuestion(
        question,
        _percent(reads_high, "--reads-high"),
        None if below is None else parse_quantity(below),
        None if above is None else parse_quantity(above),
        None if room is None else float(_percent(room, "--room") or 0),
    )
    with _source(url, logs) as source:
        found = t.trace(source, ask)
    if as_json:
        emit(found)
    else:
        from benchflow.review.answer_text import trace as in_text

        print_lines(in_text(found))
    return FINE


def _percent(text: str | None, option: str) -> Any:
    from decimal import Decimal, InvalidOperation

    if text is None:
        return None
    try:
        value = Decimal(text.strip().removesuffix("%").strip()) / 100
    except InvalidOperation:
        value = Decimal("NaN")
    if not value.is_finite() or not -1 < value < 10:
        raise click.UsageError(f"{option} wants a percentage such as 6 or -4, not {text!r}.")
    return value


@click.command()
@click.argument("name")
@click.option("--times", is_flag=True, help="NAME is an operation: how long it takes.")
@click.option("--svg", type=click.Path(path_type=Path), help="Draw the chart into this file (the first series).")
@_where_from
def trend(
    name: str,
    times: bool,
    svg: Path | None,
    url: str | None,
    logs: tuple[Path, ...],
    since: str,
    until: str,
    as_json: bool,
) -> int:
    """Show the reading NAME over all builds: with its limits, outliers marked, a drift towards a limit said.

    An individuals and moving range chart; `journal` is every journal[1], journal[2], each by itself.
    """
    from benchflow.review import answer_text as text
    from benchflow.review.many import trends as a
    from benchflow.review.many.session_question import timestamp_of

    span = timestamp_of(since), timestamp_of(until, end_of_day=True)
    with _source(url, logs) as source:
        if times:
            found_times = a.operation_durations(source, name, *span)
            emit(found_times) if as_json else print_lines(text.durations(found_times))
            return FINE
        found = a.trend_over_builds(source, name, *span)
    if svg is not None:
        if not found.series:
            raise BenchflowError(f"No build has a reading {name}: there is nothing to draw.")
        from benchflow.review.many.chart_picture import svg as drawn

        put(drawn(found.series[0]), svg)
    emit(found) if as_json else print_lines(text.trend(found))
    return FINE


@click.command()
@click.argument("paths", nargs=-1, metavar="[watch] [FOLDER|LOG]...", type=click.Path(path_type=Path))
@click.option("--to", "url", metavar="URL", help="postgresql://user@host/name, or the path of an SQLite file.")
@click.option("--rebuild", is_flag=True, help="Empty the index first and make it again from the logs.")
@click.option("--copy-logs", is_flag=True, help="Put the whole logs into it too, so that other benches can fetch them.")
@click.option("--fetch", metavar="SESSION", help="Write the log of this session (its number as listed) to -o.")
@click.option("-o", "--out", type=click.Path(path_type=Path), help="Where --fetch writes to.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object for each time that something was brought in.")
def archive(
    paths: tuple[Path, ...],
    url: str | None,
    rebuild: bool,
    copy_logs: bool,
    fetch: str | None,
    out: Path | None,
    as_json: bool,
) -> int:
    """Bring logs into an index, so that many sessions can be searched together. The files stay the truth: the index
    holds what they tell (readings, ticks by stage, lots, names, times), and can be made again from them at any time.

    Without FOLDER or LOG, the sessions of this machine. Done again it brings in only what is new; several benches may
    do it at once. A log that does not verify is kept out and named. `benchflow archive watch` goes on following.
    A server's password belongs into ~/.pgpass or PGPASSWORD, not into the URL, where others could read it.
    """
    from benchflow.session.machine_folders import places

    follow = bool(paths) and str(paths[0]) == "watch"
    named = list(paths[1:] if follow else paths) or [places().sessions]
    with _opened(url, fresh=rebuild) as database:
        if fetch is not None:
            return _fetch(database, fetch, out)
        if follow:
            return _follow(database, named, copy_logs, as_json)
        from benchflow.review.archive.filing import file_logs

        folders = [path for path in named if path.is_dir()]
        report = file_logs(
            database,
            paths_of(named),
            _bench(),
            folders=folders,
            copy_logs=copy_logs,
            compiled=_compiled(),
            progress=_progress,
        )
        _tell_filed(report, as_json)
    return FOUND if report.left_out else FINE


def _progress(done: int, of: int) -> None:
    import sys

    if of > 500 and sys.stderr.isatty():
        sys.stderr.write(f"\r{done} of {of} logs" + ("\n" if done == of else ""))
        sys.stderr.flush()


def _tell_filed(report: "FilingReport", as_json: bool) -> None:
    from benchflow.review.answer_text import filed

    if as_json:
        emit(report)
    else:
        print_lines(filed(report))


def _follow(database: "Database", named: list[Path], copy_logs: bool, as_json: bool) -> int:
    from benchflow.review.archive.watch import watch

    if len(named) != 1 or not named[0].is_dir():
        raise click.UsageError("archive watch follows one folder that is there.")
    remark(f"Following {shown(named[0])} into {database.shown}. Ctrl+C ends it.")
    for report in watch(database, named[0], _bench(), copy_logs=copy_logs, compiled=_compiled()):
        _tell_filed(report, as_json)
    return FINE


def _fetch(database: "Database", session: str, out: Path | None) -> int:
    from benchflow.review.archive.index import ArchiveIndex
    from benchflow.session.log.line_format import read

    source = ArchiveIndex(database)
    fits = [one for one in source.sessions() if session in (one.session.unit, one.session.session[: len(session)])]
    if len(fits) != 1:
        listed = ", ".join(f"{one.session.session[:16]} ({one.session.unit})" for one in fits[:8])
        raise BenchflowError(
            f"{len(fits)} sessions fit {session!r}: {listed}. Say one by the first digits of its number."
            if fits
            else f"The archive has no session {session!r}."
        )
    body = source.log_of(fits[0].session.session)
    if body is None:
        raise BenchflowError(
            f"The archive has no copy of that log; it lies on {fits[0].bench} at {fits[0].path}. "
            "Archive it there with --copy-logs."
        )
    found = read(body)
    if found.damage is not None or not found.lines or found.lines[-1].hash != fits[0].session.head:
        raise BenchflowError("The copy in the archive does not verify. Nothing was written.")
    put(body, out)
    return FINE
