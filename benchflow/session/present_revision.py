"""The revision of the present procedure file, for a job that was started with an earlier one."""

import re
from collections.abc import Iterable
from pathlib import Path, PurePath

from benchflow.base.plaintext import clean_line
from benchflow.base.regular_file import read_regular_file
from benchflow.procedure.model import Procedure
from benchflow.procedure.yaml_source.yaml_reader import MAX_BYTES


def revision_notes(of_job: Procedure, present: Procedure | None) -> tuple[str, ...]:
    """A sentence if ``present``, the procedure file as it is now, has another revision than the job; else none."""
    same = present is not None and present.id == of_job.id
    return _notes(of_job, present.revision) if present is not None and same else ()


def revision_notes_by_name(of_job: Procedure, file: str, folders: Iterable[Path]) -> tuple[str, ...]:
    """A sentence if the ``file`` of the procedure in one of the folders has another revision than the job."""
    found = revision_in_files(of_job, file, folders)
    return () if found is None else _notes(of_job, found)


def _notes(of_job: Procedure, present: str) -> tuple[str, ...]:
    now, then = clean_line(present), clean_line(of_job.revision)
    if now == then:
        return ()
    return (f"The procedure file is now revision {now or '(none)'}. This job keeps revision {then or '(none)'}.",)


def revision_in_files(of_job: Procedure, file: str, folders: Iterable[Path]) -> str | None:
    """The revision of the procedure of a job in the first of the folders that has its ``file``; ``None`` without one.

    Only the lines `id` and `revision` of the file are read, because a bench should open at once.
    """
    name = PurePath(file).name
    for folder in folders if name else ():
        try:
            text = read_regular_file(folder / name, MAX_BYTES).decode("utf-8")
        except (OSError, ValueError):
            continue
        if _value(text, "id") == of_job.id:
            return _value(text, "revision")
    return None


def _value(text: str, key: str) -> str:
    """The value of a key at the left margin, without quotes and comment; "" if there is none."""
    found = re.search(rf"""^{key}[ \t]*:[ \t]+(?:"([^"\n]*)"|'([^'\n]*)'|([^\n#]*?))[ \t]*(?:\#.*)?\r?$""", text, re.M)
    return "" if found is None else next((each for each in found.groups() if each is not None), "").strip()
