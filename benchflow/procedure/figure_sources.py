"""Where the figures of a procedure come from: a document and the place in it, the author's own choice, or a text.

A figure is a limit, a torque or another number that an author takes from a document. A `source` beside the figure
counts first. A stage without one has that of its stages, and these have that of their joint. Any other figure has the
`source` of the procedure, if that begins with the id of a document. Another text there is only a remark, unless the
procedure has no `documents`: then it is the source of every figure.

A source can name an edition of its document (``manual ed. 1 p. 4``). If that is not the edition in `documents`, the
words stay as written: nobody has read the figure in the edition of the procedure.
"""

import re

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.model import Document, HandStage, Joint, Procedure, Stage, Tighten

OTHER_EDITION = "another edition than the procedure's"
"""The remark after a source that names another edition than `documents` has."""

OWN_CHOICE = "own choice"
"""How a source begins that is the author's own choice, against a printed figure or without one."""

_first_name = re.compile(r"([A-Za-z0-9][A-Za-z0-9_-]*)(?![A-Za-z0-9_-])[\s,:;]*")
_because = re.compile(rf"{OWN_CHOICE}\b[\s,:;.]*(?:because\b)?\s*", re.IGNORECASE)
_place_words = re.compile(
    r"(p|pp|page|pages|table|fig|figure|chapter|section|sheet|no|§)\b\.?\s*[0-9A-Z]|§", re.IGNORECASE
)
_edition = re.compile(
    r"[(\[]?(?:\b(?:edition|edn|ed|revision|rev|issue)\b\.?\s*(?:no\b\.?\s*)?"
    r"(?P<after>\d[\w.-]*\w|\d|[A-Za-z]|[IVX]+)(?!\w)"
    r"|\b(?P<before>\d+)(?:st|nd|rd|th)\s+(?:edition|edn|ed|revision|rev|issue)\b\.?)[)\]]?[\s,:;]*",
    re.IGNORECASE,
)
_edition_word = re.compile(r"\b(edition|edn|ed)\b", re.IGNORECASE)
_date = re.compile(r"[(\[]?((?:19|20)\d\d(?:-\d\d(?:-\d\d)?)?)(?![\w-])[)\]]?[\s,:;]*")


class Source(Struct, frozen=True):
    """Where a figure comes from. ``text`` is as written.

    ``other_edition`` is the edition or date that the text names, if it is not that of the ``document``; "?" if it
    cannot be read. ``place`` is the place in the ``document``. ``because`` is the reason of an ``own_choice``.
    ``by_default`` is true if the figure has only the source of the whole procedure.
    """

    text: str
    document: Document | None = None
    place: str = ""
    own_choice: bool = False
    because: str = ""
    by_default: bool = False
    other_edition: str = ""

    @property
    def edition(self) -> str:
        """The edition that the figure comes from; "" if it is not known."""
        if self.other_edition:
            return self.other_edition.strip("?")
        return "" if self.document is None else self.document.edition

    @property
    def shown(self) -> str:
        """For people: ``Workshop manual, edition 3, 2024-05-01: p. 4-21``, ``own choice, because ...``, or the text.

        With another edition: ``manual ed. 1 p. 4-21 (another edition than the procedure's)``.
        """
        if self.document is None or self.other_edition:
            return f"{self.text} ({OTHER_EDITION})" if self.edition and self.other_edition else self.text
        return f"{document_text(self.document)}{f': {self.place}' if self.place else ''}"


def document_text(document: Document) -> str:
    """A document with its edition and date: ``Workshop manual, edition 3, 2024-05-01``."""
    edition = f"edition {document.edition}" if document.edition else ""
    return ", ".join(part for part in (document.title, edition, document.date) if part)


def parse_source(text: str, procedure: Procedure) -> Source:
    """The source that a text means in this procedure."""
    line = " ".join(text.split())
    own = _because.match(line)
    if own is not None:
        return Source(line, own_choice=True, because=line[own.end() :])
    first = _first_name.match(line)
    document = None if first is None else procedure.documents_by_id.get(first[1])
    if first is None or document is None:
        return Source(line)
    place, other = _place_and_edition(line[first.end() :], document)
    return Source(line, document, place, other_edition=other)


def without_edition(source: Source) -> str:
    """The text of a source from a document without an edition: ``manual ed. 2, p. 51`` -> ``manual p. 51``."""
    if source.document is None:
        return source.text
    first = _first_name.match(source.text)
    rest = source.text[first.end() :] if first is not None else source.place
    rest = _date.sub("", _edition.sub("", rest, count=1), count=1).strip(" ,:;")
    return f"{source.document.id} {rest}".strip()


def _place_and_edition(written: str, document: Document) -> tuple[str, str]:
    """The place without an edition that is that of the document; and an edition that is another one, "" if none."""
    place, dated = written, _date.match(written)
    if document.edition:
        named = _edition.search(written)
        if named is None and _edition_word.search(written) is not None:
            return written, "?"
        if named is not None:
            edition = (named["after"] or named["before"]).strip(".")
            if edition.casefold() != document.edition.casefold():
                return written, edition
            place = f"{written[: named.start()]}{written[named.end() :]}".strip(" ,:;")
            dated = _date.match(place)
    if dated is not None and (document.edition or document.date):
        if dated[1] != document.edition and not document.date.startswith(dated[1]):
            return written, dated[1]
        place = place[dated.end() :]
    return place, ""


def default_source(procedure: Procedure) -> Source | None:
    """The source of every figure that has no own source; ``None`` if the procedure has none."""
    if not procedure.source.strip():
        return None
    found = parse_source(procedure.source, procedure)
    if found.document is None and procedure.documents:
        return None
    return replace(found, by_default=True)


def source_of(procedure: Procedure, *written: str) -> Source | None:
    """The source of a figure: the first of the texts that is not empty, else that of the procedure, else ``None``."""
    text = next((one for one in written if one), "")
    return parse_source(text, procedure) if text else default_source(procedure)


def stage_source(procedure: Procedure, stage: Stage, tighten: Tighten) -> Source | None:
    """The source of the figure of a stage: its own, that of its stages, of its joint, or of the procedure."""
    joint: Joint | None = procedure.joints_by_id.get(tighten.joint)
    own = "" if isinstance(stage, HandStage) else stage.source
    return source_of(procedure, own, tighten.source, "" if joint is None else joint.source)


def own_source(source: Source | None) -> str:
    """The text to show beside a figure; "" without a source, or if it is that of the whole procedure."""
    return "" if source is None or source.by_default else source.shown


def source_of_numbers(procedure: Procedure) -> str:
    """The source of all numbers of a procedure, for its first page and its sheets; "" if none is written."""
    found = default_source(procedure)
    return found.shown if found is not None and found.document is not None else procedure.source


def misspelt_document(text: str, procedure: Procedure) -> tuple[str, str | None] | None:
    """The first word of a source that is probably a misspelt id of a document, and the id most similar to it.

    ``None`` if the text begins with an id, is an own choice, or is free text. A word is probably an id if it is similar
    to one, or if a place such as ``p. 3`` follows it.
    """
    from difflib import SequenceMatcher  # late import: only the reader needs it

    source = parse_source(text, procedure)
    first = _first_name.match(source.text)
    if source.document is not None or source.own_choice or first is None or not procedure.documents:
        return None
    word = first[1]
    likeness = {
        SequenceMatcher(None, word.casefold(), one.casefold()).ratio(): one for one in procedure.documents_by_id
    }
    near = likeness[max(likeness)] if max(likeness) >= _SIMILAR else None
    placed = _place_words.match(source.text, first.end()) is not None and word == word.casefold()
    return (word, near) if near is not None or placed else None


_SIMILAR = 0.75
"""How similar a word has to be to an id to count as a misspelling of it. (Own choice: `manaul` has 0.83.)"""
