"""The sources of the figures on a sheet: lines at its top, and words beside a figure."""

from collections.abc import Iterator

from benchflow.procedure.figure_sources import (
    Source,
    default_source,
    document_text,
    own_source,
    source_of_numbers,
    stage_source,
)
from benchflow.procedure.model import HandStage, Procedure, Tighten
from benchflow.procedure.procedure_figures import documents_used, has_figure


def source_facts(procedure: Procedure, label: str) -> Iterator[tuple[str, str]]:
    """The lines at the top of a sheet: the source of all numbers, and the other documents with their editions."""
    source = source_of_numbers(procedure)
    if source:
        yield label, source
    default, used = default_source(procedure), documents_used(procedure)
    named = {default.document.id} if default is not None and default.document is not None else set()
    others = [one for one in procedure.documents if one.id in used - named]
    if others:
        title = "Other documents" if source else "Documents"
        yield title, "; ".join(document_text(one) for one in others)


def words_of_source(source: Source | None) -> str:
    """The words after a figure: `` (source: Workshop manual, edition 3: p. 4-21)``; "" for the source of all."""
    text = own_source(source)
    return f" (source: {text})" if text else ""


def common_source(procedure: Procedure, tighten: Tighten) -> str:
    """The source that all stages of a joint have, unless it is that of the whole procedure; "" if they differ.

    A source that is beside a stage in the file stays there.
    """
    stages = [one for one in tighten.stages if has_figure(one)]
    found = {own_source(stage_source(procedure, one, tighten)) for one in stages}
    own = any(one.source for one in stages if not isinstance(one, HandStage))
    return found.pop() if len(found) == 1 and not own else ""


def stage_words(procedure: Procedure, tighten: Tighten, number: int) -> str:
    """The words after the stage ``number``, from 1, if the stages of its joint have different sources."""
    stage = tighten.stages[number - 1]
    if not has_figure(stage) or common_source(procedure, tighten):
        return ""
    return words_of_source(stage_source(procedure, stage, tighten))
