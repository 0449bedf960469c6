"""The sources that a form for a figure offers: the documents of the procedure, and the own choice."""

from msgspec import Struct

from benchflow.procedure.figure_sources import OWN_CHOICE, document_text, misspelt_document, parse_source
from benchflow.procedure.model import Procedure
from benchflow.session.state.state import GivenFigure, State


class OfferedSource(Struct, frozen=True):
    """A source to offer: the words that it begins with (``manual``), and what they mean; "" if the words say it."""

    words: str
    meaning: str = ""


BY_OWN_CHOICE = OfferedSource(f"{OWN_CHOICE}, because")


def offered_sources(procedure: Procedure, named: str = "") -> tuple[OfferedSource, ...]:
    """The source that the author has ``named`` for the figure, the documents in the order of the file, the own choice.

    A named source that is only a document is offered as that.
    """
    documents = tuple(OfferedSource(one.id, document_text(one)) for one in procedure.documents)
    written = " ".join(named.split())
    if not written or written in procedure.documents_by_id:
        return (*documents, BY_OWN_CHOICE)
    return (OfferedSource(written, "as the procedure says"), *documents, BY_OWN_CHOICE)


def _given_figures(state: State) -> list[GivenFigure]:
    given: list[GivenFigure] = [*state.filled.values()]
    return given + [figure for work in state.works.values() for figure in work.figures.values()]


def lacks_page(source: str, state: State) -> str:
    """The id of the document that a typed source names without a page; "" if there is none.

    A document that another figure was given from without a page has none.
    """
    found = parse_source(source, state.plan.procedure)
    if found.document is None or found.place.strip(" ,"):
        return ""
    before = {" ".join(one.source.split()).casefold() for one in _given_figures(state)}
    return "" if source.casefold() in before else found.document.id


def last_document(state: State) -> str:
    """The id of the document of the figure that was given last; "" if there is none, or it has no document."""
    last = max(_given_figures(state), key=lambda one: one.seq, default=None)
    source = None if last is None else parse_source(last.source, state.plan.procedure)
    return "" if source is None or source.document is None else source.document.id


def offered_in(text: str, offered: tuple[OfferedSource, ...]) -> OfferedSource | None:
    """The offered source that a typed text begins with; ``None`` if it begins with none of them."""
    folded = text.strip().casefold()
    for one in offered:
        words = one.words.casefold()
        if folded.startswith(words) and not folded[len(words) : len(words) + 1].isalnum():
            return one
    return BY_OWN_CHOICE if folded.startswith(OWN_CHOICE) else None


def with_offered(text: str, source: OfferedSource, offered: tuple[OfferedSource, ...]) -> str:
    """``text`` with ``source`` in front, instead of the offered source that it begins with. A blank follows it."""
    before, rest = offered_in(text, offered), text.strip()
    if before is not None:
        begins = rest.casefold().startswith(before.words.casefold())
        rest = rest[len(before.words if begins else OWN_CHOICE) :]
    return f"{source.words} {rest.strip(' ,')}".rstrip() + " "


def source_remark(text: str, procedure: Procedure) -> str:
    """What to consider about a typed source: another edition, a misspelt document, a missing reason; "" if nothing."""
    source = parse_source(text, procedure)
    if source.own_choice:
        return "" if source.because else "Say why it is the own choice."
    if source.document is not None and source.edition and source.other_edition:
        own = source.document.edition or source.document.date
        return f"Another edition than the procedure's ({own}). It is kept as typed."
    found = misspelt_document(text, procedure)
    if found is None:
        return ""
    word, near = found
    meant = f" Is it {near}?" if near else ""
    return f"The procedure has no document “{word}”.{meant} Other words are kept as typed."
