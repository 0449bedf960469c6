"""The command ``export``: converts logs for other programs."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import shown_path
from benchflow.commands.console_output import print_warning
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.file_lookup import find_log, log_paths
from benchflow.commands.output_file import write_output
from benchflow.commands.teardown_export import pictures_of_teardown, teardowns_as

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from benchflow.review.log.loaded_log import LoadedLog
    from benchflow.review.sheets.pictures_on_sheet import SheetPicture
    from benchflow.session.log.log_folder import SkippedFile


@click.command(
    epilog=exit_code_help("A file was skipped, a log is damaged, or a picture is missing. The rest was exported.")
)
@click.argument("names", nargs=-1, required=True, metavar="LOG|FOLDER...")
@click.option(
    "--as", "form", required=True, type=click.Choice(["csv", "jsonl", "xes", "ical", "markdown"]),
    help="csv: one row per event. jsonl: JSON Lines. xes: an event log, IEEE 1849. ical: to-dos for open items, "
    "RFC 5545. markdown: build sheets.",
)  # fmt: skip
@click.option("-o", "--out", type=click.Path(path_type=Path), help="The file to write. Default: standard output.")
@click.option(
    "--pictures", type=click.Path(path_type=Path), metavar="FOLDER",
    help="Copy the pictures too, into a folder per log in FOLDER, each with a list of their SHA-256.",
)  # fmt: skip
def export(names: tuple[str, ...], form: str, out: Path | None, pictures: Path | None) -> int:
    """Export logs for other programs. For a FOLDER, all logs in it are exported. A file in it that cannot be read is
    named and skipped. The rows of csv and jsonl name each picture with its SHA-256.

    The log of a teardown is exported apart from jobs: as csv (one row per line), jsonl (the record) or markdown.
    """
    from benchflow.review.log.log_file import logs_under
    from benchflow.session.log.log_folder import is_teardown_log

    paths = [find_log(name, kind="any") if not Path(name).is_dir() else Path(name) for name in names]
    teardowns = [path for path in paths if is_teardown_log(path)]
    if teardowns:
        if len(teardowns) < len(paths):
            raise BenchflowError(f"{shown_path(teardowns[0])} is the log of a teardown. Export it apart from jobs.")
        write_output(teardowns_as(form, teardowns), out)
        absent = (
            []
            if pictures is None
            else _copy_pictures([(path, pictures_of_teardown(path)) for path in teardowns], pictures)
        )
        for text in absent:
            print_warning(text)
        return PROBLEM_FOUND if absent else SUCCESS
    for folder in (path for path in paths if path.is_dir()):
        if left := sum(map(is_teardown_log, logs_under(folder, teardowns=True))):
            count = "1 teardown is" if left == 1 else f"{left} teardowns are"
            print_warning(f"{count} left out of {shown_path(folder)}. Export them apart from jobs, by their names.")
    logs, skipped = _loaded([Path(name) for name in names], any_procedure=form in ("csv", "jsonl"))
    if form in ("csv", "jsonl"):
        from benchflow.review.interchange.event_rows import as_csv, as_json_lines
        from benchflow.session.state.events import FORMAT

        convert = as_csv if form == "csv" else as_json_lines
        write_output("".join(convert(logs)), out)
        for log in logs:
            if log.format < FORMAT:
                print_warning(
                    f"{log.path} has the old format {log.format}. "
                    "Its kinds of events are exported as they were written."
                )
    else:
        write_output(_converted(logs, form), out)
    absent = [] if pictures is None else _copy_pictures_of_jobs(logs, pictures)
    for text in absent:
        print_warning(text)
    damaged = [log.path for log in logs if log.damage is not None]
    for path in damaged:
        print_warning(f"{path} is damaged. Only the part before the damage was exported.")
    for file in skipped:
        print_warning(f"{shown_path(file.path)} {file.why}. It was skipped.")
    return PROBLEM_FOUND if damaged or skipped or absent else SUCCESS


def _copy_pictures_of_jobs(logs: "list[LoadedLog]", folder: Path) -> list[str]:
    from benchflow.review.sheets.pictures_on_sheet import pictures_on_sheet

    return _copy_pictures([(Path(log.path), pictures_on_sheet(log)) for log in logs], folder)


def _copy_pictures(logs: "Iterable[tuple[Path, Sequence[SheetPicture]]]", folder: Path) -> list[str]:
    """Copy the pictures of each log into a folder of its name. Returns a sentence for each that cannot be copied."""
    from benchflow.base.atomic_write import atomic_write
    from benchflow.review.sheets.pictures_on_sheet import copy_pictures, picture_list

    absent: list[str] = []
    for log, pictures in logs:
        if not pictures:
            continue
        target = folder / log.stem
        copies = copy_pictures(log, target, pictures)
        try:
            atomic_write(target / "pictures.csv", picture_list(pictures, copies).encode())
        except OSError as error:
            raise BenchflowError(f"{target / 'pictures.csv'} cannot be written: {error.strerror}.") from error
        absent += [
            f"{log}: picture of event {one.event} ({one.facts.name}) was not copied. {one.problem}"
            for one in pictures
            if one.event not in copies
        ]
    return absent


def _loaded(names: list[Path], *, any_procedure: bool) -> "tuple[list[LoadedLog], list[SkippedFile]]":
    """The logs that are named and those in the folders that are named; and the files of the folders to skip.

    Raises:
        BenchflowError: a log that is named itself cannot be read.
    """
    from benchflow.review.log.loaded_log import load_log
    from benchflow.review.log.log_file import why_skipped
    from benchflow.session.log.log_folder import SkippedFile, read_or_skip
    from benchflow.session.procedure_loading import procedure_reader

    def load(path: Path) -> "LoadedLog":
        return load_log(path, procedure_reader(), any_procedure=any_procedure)

    logs: list[LoadedLog] = []
    skipped: list[SkippedFile] = []
    for name in names:
        for path in log_paths([name]):
            why = why_skipped(path) if name.is_dir() else ""
            found = SkippedFile(path, why) if why else read_or_skip(path, load) if name.is_dir() else load(path)
            if isinstance(found, SkippedFile):
                skipped.append(found)
            else:
                logs.append(found)
    return logs, skipped


def _converted(logs: "list[LoadedLog]", form: str) -> str | bytes:
    if form == "xes":
        from benchflow.review.interchange.xes import as_xes

        return as_xes(logs)
    if form == "ical":
        from benchflow.review.interchange.calendar import as_calendar

        return as_calendar(logs)
    from benchflow.review.sheets.build_sheet import build_sheet
    from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown

    return "\n".join(build_sheet_markdown(build_sheet(log)) for log in logs)
