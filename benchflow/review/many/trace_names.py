"""Finds what the name in a question means: an instrument by serial, by its id in the register, or by its title."""

from collections.abc import Sequence

from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import folded
from benchflow.review.many.known_names import refuse_unknown_name
from benchflow.review.many.session_question import (
    InstrumentSubject,
    PersonSubject,
    Question,
    SessionMatch,
    SessionSource,
    Subject,
)
from benchflow.session.shop.register import Shop

NamedMatches = tuple[Question, Sequence[SessionMatch], tuple[str, ...]]
"""The question with every serial that its name means, the sessions that answer it, and notes about the name."""


def named_matches(source: SessionSource, question: Question, register: Shop | None, *, one_only: bool) -> NamedMatches:
    """The sessions that answer ``question``, whatever name of the instrument it has.

    ``one_only`` refuses a name of several instruments: an error is that of one instrument.

    Raises:
        UnknownName: no job and no register has the name.
        BenchflowError: the name means several instruments.
    """
    if not isinstance(question.subject, InstrumentSubject):
        found = source.ask(question)
    else:
        subject = _as_registered(question.subject, register)
        found = source.ask(replace(question, subject=subject))
        if not found and not subject.others:
            subject = _as_logged(question.subject, source)
            found = source.ask(replace(question, subject=subject)) if subject.others else found
        question = replace(question, subject=subject)
    notes = _several_notes(question.subject, one_only=one_only)
    if not found:
        registered = _registered_names(register, question.subject)
        refuse_unknown_name(source, question.subject, registered)
        notes = (*notes, _why_nothing(question, registered))
    return question, found, notes


def _several_notes(subject: Subject, *, one_only: bool) -> tuple[str, ...]:
    """A note if the name of an instrument means several."""
    if not isinstance(subject, InstrumentSubject) or len(subject.others) < 2:
        return ()
    serials = ", ".join(subject.others)
    if one_only:
        raise BenchflowError(f"{subject.serial} means {serials}. The error is that of one: name its serial.")
    return (f"{subject.serial} means {serials}. Each of them counts.",)


def _as_registered(subject: InstrumentSubject, register: Shop | None) -> InstrumentSubject:
    """The subject with the serials that the register has for its id or title."""
    name = folded(subject.serial)
    instruments = () if register is None else register.instruments
    serials = {one.serial for one in instruments if one.serial and name in (folded(one.id), folded(one.title))}
    return replace(subject, others=tuple(sorted(serials - {subject.serial})))


def _as_logged(subject: InstrumentSubject, source: SessionSource) -> InstrumentSubject:
    """The subject with the serials that the logs have for its title or need. Capitals do not matter."""
    name = folded(subject.serial)
    serials = {one.serial for one in source.instruments() if one.serial and name in map(folded, one)}
    return replace(subject, others=tuple(sorted(serials - {subject.serial})))


def _registered_names(register: Shop | None, subject: Subject) -> tuple[str, ...]:
    """The names of the register that the subject may be."""
    if register is None:
        return ()
    match subject:
        case InstrumentSubject():
            return tuple(name for one in register.instruments for name in (one.serial, one.id, one.title) if name)
        case PersonSubject():
            return tuple(person.name for person in register.people)
        case _:
            return ()


def _why_nothing(question: Question, registered: tuple[str, ...]) -> str:
    if question.since or question.until:
        return "No job has it in that time."
    return "The register has this name. No job has it." if registered else "No job has valid work with it."
