"""The keys `documents` and `source`: where the figures of a procedure come from."""

import re
from datetime import date

from benchflow.base.plaintext import clean_line
from benchflow.procedure.model import Document, Ref
from benchflow.procedure.shapes.basic_shapes import LINE, TEXT_SCHEMA, EitherShape, MapShape, TransformedShape
from benchflow.procedure.shapes.by_shapes import ByShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar, short
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode


class _SourceShape(Shape[str]):
    """Where a figure comes from. The text is kept for the check of the documents."""

    noun = "a document's id and the place in it, or a text"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        text = LINE.read(node, context, name)
        if text is not None:
            context.sources.append(Ref(text, node.mark))
        return text

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {**TEXT_SCHEMA, "pattern": r"\S"}


_SOURCE_TEXT = _SourceShape()
_MEANING = (
    "Where the figures come from: the id of a document under `documents` and the place in it, or a text. Write "
    "`own choice, because ...` for your own choice against the printed figure."
)
_EXAMPLES = ("manual p. 4-21", "own choice, because the studs are new")

SOURCE = Key("source", _SOURCE_TEXT, _MEANING, examples=_EXAMPLES)
"""The source of something in the setup."""
OPERATION_SOURCE = Key("source", ByShape("source", _SOURCE_TEXT), _MEANING, examples=_EXAMPLES)
"""The source of something in an operation. It can vary by option or place, as the figure can."""

_printed_date = re.compile(r"[0-9]{4}-[0-9]{1,2}(-[0-9]{1,2})?")


class _PrintedDateShape(Shape[str]):
    """The date of a document as printed on it. A date in digits has to exist."""

    noun = "a date such as 2024-05-01"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        text = clean_line(found.text)
        if _printed_date.fullmatch(text) and not _exists(text):
            message = f"`{short(text)}` is not a date: year, month and day as in 2024-05-01"
            context.problem("bad-number", found.mark, message, "Write the date that is printed on the document")
            return None
        return LINE.read(node, context, name)

    def schema(self, definitions: Definitions) -> JsonSchema:
        # The YAML of an editor reads an unquoted date as a date. JSON Schema has no type for it.
        return {"not": {"type": ["array", "object", "null"]}, "pattern": r"\S"}


def _exists(text: str) -> bool:
    """True if digits such as ``2024-05`` or ``2024-05-01`` are a month or a day of the calendar."""
    try:
        date.fromisoformat(text if len(text) > 7 else f"{text}-01")
    except ValueError:
        return False
    return True


_TITLE = Key("title", LINE, "What it is called.", examples=("Workshop manual",))
_EDITION = Key("edition", LINE, "Its edition or issue; put it in quotes.", examples=("3", "2025-02"))
_DATE = Key("date", _PrintedDateShape(), "Its date, as printed on it.", examples=("2024-05-01",))


def _document(fields: Fields) -> Document:
    name = fields.name.name
    return Document(
        name,
        fields.get_or(_TITLE, name.replace("-", " ").replace("_", " ").capitalize()),
        fields.get_or(_EDITION, ""),
        fields.get_or(_DATE, ""),
        fields.mark,
    )


def _titled(title: str, node: YamlNode, name: Ref, context: ReadContext) -> Document:
    return Document(name.name, title, mark=name.mark)


DOCUMENTS: Shape[dict[str, Document]] = MapShape(
    EitherShape(
        "the document's title, or its keys",
        text=TransformedShape(LINE, _titled),
        entries=KeyedShape("document", "a document", (_TITLE, _EDITION, _DATE), _document),
    ),
    "documents by name",
)
