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
    notes: tuple[str, ...] = ()
    if isinstance(question.subject, InstrumentSubject):
        subject = _with_serials(source, question, question.subject, register)
        question = replace(question, subject=subject)
        if len(subject.others) > 1:
            serials = ", ".join(subject.others)
            if one_only:
                raise BenchflowError(f"{subject.serial} means {serials}. The error is that of one: name its serial.")
            notes = (f"{subject.serial} means {serials}. Each of them counts.",)
    found = source.ask(question)
    if not found:
        registered = _registered_names(register, question.subject)
        refuse_unknown_name(source, question.subject, registered)
        notes = (*notes, _why_nothing(question, registered))
    return question, found, notes


def _with_serials(
    source: SessionSource, question: Question, subject: InstrumentSubject, register: Shop | None
) -> InstrumentSubject:
    """The subject with the serials that the register has for its name, or else those that the logs have for it."""
    name = folded(subject.serial)
    instruments = () if register is None else register.instruments
    serials = {one.serial for one in instruments if one.serial and name in (folded(one.id), folded(one.title))}
    named = replace(subject, others=tuple(sorted(serials - {subject.serial})))
    if not serials and not source.ask(Question(subject)):
        logged = source.instruments()
        serials = {one.serial for one in logged if one.serial and name in map(folded, (one.title, one.need))}
        serials |= {one.serial for one in logged if folded(one.serial) == name}  # capitals do not matter
        named = replace(subject, others=tuple(sorted(serials)))
    return named


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
