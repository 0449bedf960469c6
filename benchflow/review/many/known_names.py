"""Refuses a name that no job and no register has, with the nearest names."""

from collections.abc import Iterable, Sequence
from typing import assert_never

from benchflow.base.errors import BenchflowError
from benchflow.review.formatting import count
from benchflow.review.many.session_question import (
    InstrumentSubject,
    LotSubject,
    OperationSubject,
    PersonSubject,
    ReadingSubject,
    SessionSource,
    Subject,
    SubjectKind,
    same_name,
)
from benchflow.review.many.teardown_search import about, reading_names, trace_teardowns

_MOST_NAMES = 3
_FEW_NAMES = 12
"""Up to this number, all known names are listed if none is near."""


class UnknownName(BenchflowError):
    """No job and no register has this name."""


def refuse_unknown_name(source: SessionSource, subject: Subject, registered: Sequence[str] = ()) -> None:
    """Check that a job, a teardown or the register has the name of ``subject``, at any time. Without any job, it is not
    known.

    ``registered`` are the names of the register for this kind of subject.

    Raises:
        UnknownName: none has it. The message has the nearest names.
    """
    kind, name = subject_name(subject)
    known = source.names(kind)
    if not source.count() or (isinstance(subject, InstrumentSubject) and subject.others):
        return
    if any(same_name(name, each) for each in (*known, *registered)):
        return
    if trace_teardowns(source.teardowns(), about(subject)):
        return
    if kind == "reading":
        known = [*known, *reading_names(source.teardowns())]
    where = "No job has" if kind in ("lot", "operation", "reading") else "No job and no register has"
    left_out = len(source.left_out())
    more = f" {count(left_out, 'file')} could not be searched." if left_out else ""
    searched = count(source.count(), "job")
    raise UnknownName(
        f"{where} the {kind} {name!r} ({searched} searched). {nearest_text(name, [*known, *registered])}{more}"
    )


def subject_name(subject: Subject) -> tuple[SubjectKind, str]:
    """The kind of a subject, and its name."""
    match subject:
        case InstrumentSubject(serial=serial):
            return "instrument", serial
        case LotSubject(lot):
            return "lot", lot
        case PersonSubject(name):
            return "person", name
        case OperationSubject(operation):
            return "operation", operation
        case ReadingSubject(name):
            return "reading", name
        case _:
            assert_never(subject)


def nearest_names(name: str, known: Iterable[str]) -> tuple[str, ...]:
    """The known names most similar to ``name``, the nearest first. Capitals are ignored.

    A name with a place, such as ``journal[2]``, counts without it, too.
    """
    from difflib import get_close_matches  # late import: only an error needs it

    by_key: dict[str, str] = {}
    for each in known:
        by_key.setdefault(each.partition("[")[0].casefold(), each.partition("[")[0])
        by_key.setdefault(each.casefold(), each)
    asked = name.casefold()
    close = get_close_matches(asked, by_key, _MOST_NAMES, 0.6)
    part = sorted((key for key in by_key if len(asked) > 2 and (asked in key or key in asked)), key=len)
    return tuple(dict.fromkeys(by_key[key] for key in (*close, *part)))[:_MOST_NAMES]


def nearest_text(name: str, known: Sequence[str]) -> str:
    """A sentence with the nearest of the known names, or with all of them if they are few."""
    near = nearest_names(name, known)
    if near:
        return f"Nearest: {', '.join(near)}."
    names = sorted({each for each in known if each})
    if not names:
        return "No name of this kind is known."
    if len(names) <= _FEW_NAMES:
        return f"Known: {', '.join(names)}."
    return "No known name is near."
