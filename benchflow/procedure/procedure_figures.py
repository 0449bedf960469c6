"""The figures of a procedure, each with where it comes from."""

from collections.abc import Iterable, Iterator
from typing import Literal

from msgspec import Struct

from benchflow.procedure.figure_sources import Source, parse_source, source_of, stage_source
from benchflow.procedure.figures_to_fill import given_source
from benchflow.procedure.model import (
    AskedLimit,
    CalculatedValue,
    ChoiceRow,
    HandStage,
    InstrumentNeed,
    Joint,
    KitItem,
    LoosenStage,
    Mark,
    OpenStage,
    Operation,
    PartMatching,
    Procedure,
    RecordedValue,
    Stage,
    Tighten,
    bounds_of,
    values_of,
    written_limit,
)
from benchflow.procedure.variants import every_variant

FigureKind = Literal["value", "stage", "window", "choice", "match", "joint", "instrument", "kit"]


class Figure(Struct, frozen=True):
    """A figure of a procedure: a limit, the figure of a stage, a time window, a table, or what a joint states.

    ``name`` is the name of the value, choice, instrument or part. For a stage it is the joint; for a window, the
    operation that the time counts from. ``operation`` is "" for what is in the setup. ``stage`` counts from 1; 0 for
    anything else. ``limit`` is the title of a further limit of a value, or the key of a joint that was filled in at the
    bench (``lubricant``). ``text`` is the figure as written.
    """

    kind: FigureKind
    name: str
    text: str
    source: Source | None
    operation: str = ""
    stage: int = 0
    limit: str = ""
    mark: Mark = Mark()

    @property
    def title(self) -> str:
        """Its name in lists: ``end-play``, ``bore (Taper)``, ``head-nuts stage 2``, ``time since apply-sealant``."""
        match self.kind:
            case "stage":
                return stage_name(self.name, self.stage)
            case "window":
                return f"time since {self.name}"
            case _:
                return f"{self.name} ({self.limit})" if self.limit else self.name


def stage_name(joint: str, stage: int) -> str:
    """The name of the figure of a stage: ``head-nuts stage 2``."""
    return f"{joint} stage {stage}"


def figures_of(procedure: Procedure) -> tuple[Figure, ...]:
    """Every figure of a procedure, each once: those of the setup first, then those of every variant of an operation."""
    found: dict[Figure, None] = dict.fromkeys(setup_figures(procedure))
    for operation in every_variant(procedure):
        found.update(dict.fromkeys(figures_of_operation(procedure, operation)))
    return tuple(found)


def setup_figures(procedure: Procedure) -> Iterator[Figure]:
    """What the joints, instruments and parts of a procedure state in figures."""
    for joint in procedure.joints:
        text = joint_text(joint)
        if text:
            yield Figure("joint", joint.id, text, source_of(procedure, joint.source), mark=joint.mark)
        for key, source in joint.given.items():
            text = joint_key_text(joint, key)
            yield Figure("joint", joint.id, text, source_of(procedure, source), limit=key, mark=joint.mark)
    for need in procedure.instruments:
        for text, given in _instrument_texts(need):
            yield Figure("instrument", need.id, text, source_of(procedure, given, need.source), mark=need.mark)
    for item in procedure.kit:
        text = _kit_text(item)
        if text:
            yield Figure("kit", item.id, text, source_of(procedure, item.source), mark=item.mark)


def figures_of_operation(procedure: Procedure, operation: Operation) -> Iterator[Figure]:
    """The figures of one operation: values, choices, matchings, stages and time windows."""
    ident = operation.id
    for value in values_of(operation):
        if not (isinstance(value, CalculatedValue) and value.stage):
            yield from _figures_of_value(procedure, value, ident)
    for choice in operation.choose:
        text = "; ".join(map(_row_text, choice.rows))
        yield Figure("choice", choice.name, text, source_of(procedure, choice.source), ident, mark=choice.mark)
    for match in operation.match:
        text = _match_text(match)
        yield Figure("match", match.name, text, source_of(procedure, match.source), ident, mark=match.mark)
    if operation.tighten is not None:
        yield from _figures_of_stages(procedure, operation.tighten, ident)
    for window in operation.time:
        if window.asked is not None:
            continue
        source = source_of(procedure, window.source)
        yield Figure("window", window.operation.name, window.text, source, ident, mark=window.operation.mark)


def _figures_of_value(procedure: Procedure, value: RecordedValue | CalculatedValue, operation: str) -> Iterator[Figure]:
    bounds = bounds_of(value)
    known = [bound for bound in bounds if not isinstance(bound, AskedLimit)]
    given = {given_source(bound) for bound in known}
    if len(given) > 1:  # each limit with its own source
        for bound in known:
            source = source_of(procedure, given_source(bound), value.source)
            yield Figure("value", value.name, bound.text, source, operation, mark=value.mark)
    elif known or (value.source and not bounds):
        source = source_of_value(procedure, value)
        yield Figure("value", value.name, value_text(value), source, operation, mark=value.mark)
    for limit in value.also if isinstance(value, RecordedValue) else ():
        if isinstance(limit.bound, AskedLimit):
            continue
        source = source_of(procedure, given_source(limit.bound), limit.source, value.source)
        yield Figure("value", value.name, limit.bound.text, source, operation, limit=limit.label, mark=limit.mark)


def source_of_value(procedure: Procedure, value: RecordedValue | CalculatedValue) -> Source | None:
    """The source of the limits of a value. One that was given at the bench has the source that was given with it.

    If its limits have different sources, the text names each of them.
    """
    sources: dict[str, Source] = {}
    of_limits: dict[str, list[str]] = {}
    bounds = bounds_of(value)
    known = [bound for bound in bounds if not isinstance(bound, AskedLimit)]
    for bound in known or bounds:
        found = source_of(procedure, given_source(bound), value.source)
        if found is not None:
            sources[found.shown] = found
            of_limits.setdefault(found.shown, []).append(bound.text)
    if len(sources) < 2:
        return next(iter(sources.values()), None) or source_of(procedure, value.source)
    return Source("; ".join(f"{', '.join(texts)}: {shown}" for shown, texts in of_limits.items()))


def _figures_of_stages(procedure: Procedure, tighten: Tighten, operation: str) -> Iterator[Figure]:
    for number, stage in enumerate(tighten.stages, 1):
        if has_figure(stage):
            source = stage_source(procedure, stage, tighten)
            yield Figure("stage", tighten.joint, stage.text, source, operation, number, mark=tighten.mark)


def has_figure(stage: Stage) -> bool:
    """True if the file has a figure for the stage: it is not by hand, not a bare `loosen`, and not `ask`."""
    match stage:
        case HandStage():
            return False
        case LoosenStage():
            return stage.angle is not None
        case OpenStage():
            return bool(stage.formula)
        case _:
            return True


def value_text(value: RecordedValue | CalculatedValue) -> str:
    """The limits of a value as written: ``0.10 .. 0.28 mm; used: at most 0.40 mm``; without one, its formula."""
    used = value.used.text if isinstance(value, RecordedValue) and value.used is not None else ""
    parts = [written_limit(value), f"used: {used}" if used else ""]
    text = "; ".join(part for part in parts if part)
    return text or (value.formula if isinstance(value, CalculatedValue) else "no limit")


def joint_text(joint: Joint) -> str:
    """The figures of a joint beside its stages: ``nut factor 0.15; tolerance 4 %, 3°``."""
    allowed = [one.entered for one in (joint.tolerance.torque, joint.tolerance.angle, joint.tolerance.length) if one]
    parts = ["" if joint.nut_factor is None else f"nut factor {joint.nut_factor}"]
    parts += [f"tolerance {', '.join(allowed)}"] if allowed else []
    return "; ".join(part for part in parts if part)


def joint_key_text(joint: Joint, key: str) -> str:
    """A figure of a joint that was filled in at the bench: its ``lubricant``, ``thread``, ``class`` or ``layout``."""
    match key:
        case "lubricant":
            return joint.lubricant
        case "thread":
            return joint.thread
        case "class":
            return joint.grade
        case _:
            return " / ".join(" ".join("." if one is None else str(one) for one in row) for row in joint.layout)


def _instrument_texts(need: InstrumentNeed) -> Iterator[tuple[str, str]]:
    """The figures of an instrument, each with the source that was given at the bench, "" without one."""
    covers = f"covers {need.covers.text}" if need.covers is not None else ""
    uncertainty = f"uncertainty {need.uncertainty.text}" if need.uncertainty is not None else ""
    if need.given:
        yield from ((text, given) for text, given in ((covers, need.given), (uncertainty, "")) if text)
        return
    text = "; ".join(part for part in (covers, uncertainty) if part)
    if text:
        yield text, ""


def _kit_text(item: KitItem) -> str:
    life = f"life {item.life.entered}" if item.life is not None else ""
    quantity = f"quantity {item.quantity}" if item.source and item.quantity else ""
    return "; ".join(part for part in (quantity, life) if part)


def _row_text(row: ChoiceRow) -> str:
    return f"{row.text}: {row.take or f'stop ({row.stop})'}"


def _match_text(match: PartMatching) -> str:
    aim = f"aim {match.aim.entered}" if match.aim is not None else ""
    return "; ".join(part for part in (match.limit.text, aim) if part)


def documents_used(procedure: Procedure) -> set[str]:
    """The ids of the documents that any `source` in the procedure names."""
    written = [procedure.source, *(joint.source for joint in procedure.joints)]
    written += [need.source for need in procedure.instruments] + [item.source for item in procedure.kit]
    for operation in every_variant(procedure):
        written += _written_sources(operation)
    sources = (parse_source(text, procedure) for text in written)
    return {source.document.id for source in sources if source.document is not None}


def _written_sources(operation: Operation) -> Iterable[str]:
    yield from (value.source for value in values_of(operation))
    yield from (choice.source for choice in operation.choose)
    yield from (matching.source for matching in operation.match)
    yield from (window.source for window in operation.time)
    yield from (limit.source for record in operation.record for limit in record.also)
    if operation.tighten is not None:
        yield operation.tighten.source
        yield from (stage.source for stage in operation.tighten.stages if not isinstance(stage, HandStage))
