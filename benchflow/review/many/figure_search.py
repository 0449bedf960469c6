"""Traces the figures of procedures through all jobs: which figure, by which edition, each engine was built by.

A figure is what :mod:`benchflow.procedure.procedure_figures` lists, and a figure that was given at the bench with its
source. The procedures are those in the logs, so a job has the figures that it was started with.
"""

import re
from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import folded
from benchflow.procedure.figure_sources import OWN_CHOICE
from benchflow.procedure.identity import StepId, ValueRef
from benchflow.procedure.model import Procedure, RecordedValue, instruments_of, values_of
from benchflow.procedure.plan import Step
from benchflow.procedure.procedure_figures import Figure, figures_of, setup_figures
from benchflow.quantity import QuantityError, unit_symbol
from benchflow.review.formatting import count, local_time_with_zone
from benchflow.review.log.interpretation import NotASession, PlanOf, interpret, plans
from benchflow.review.many.known_names import UnknownName, nearest_text
from benchflow.review.many.session_question import SessionMatch, SessionSource
from benchflow.session.log.line_format import read
from benchflow.session.procedure_loading import ProcedureReader
from benchflow.session.rules.step_figures import figures_of_step
from benchflow.session.state.state import State

_word = re.compile(r"[^\W\d_][^\W\d_·*./²³-]*(?:[·*/-][^\W\d_]+)*[²³]?")
"""A word that may be a unit: ``Nm``, ``ft-lb``, ``mm²/s``."""

_number = re.compile(r"(?<![\d.])(\d+)(?:\.0*(?![\d.])|(\.\d*?[1-9])0*(?![\d.]))")
"""A number with decimals, apart from the zeros at its end: ``2.0``, ``0.10``."""

_quantity = re.compile(r"[-+−]?[\d.][\d./ ]*[^\d.(±+−-]*(?:\(.*\))?")
"""A text that is one quantity, such as ``0.15 mm``, and perhaps the same in another unit."""

_blank = re.compile(r"(?<!\d)\s+|\s+(?!\d)")
"""Blanks that do not matter. One between two digits does: ``1 1/64 in`` is not ``11/64 in``."""

NOT_DONE, NEVER_DONE, BEGUN, DONE = "not done yet", "never done", "begun", "done"


class FigureQuestion(Struct, frozen=True):
    """A question about a ``figure`` (a value, joint, stage, time, choice ...) or a ``source``; the other is "".

    ``since`` and ``until`` are timestamps in the log's form, inclusive; "" leaves that end open.
    """

    figure: str = ""
    source: str = ""
    since: str = ""
    until: str = ""

    @property
    def text(self) -> str:
        """The question in words: ``figure head-nuts, from 2026-03-01 00:00 CET``. Times are local."""
        words = f"figure {self.figure}" if self.figure else f"source {self.source}"
        words += f", from {local_time_with_zone(self.since)}" if self.since else ""
        return words + (f", to {local_time_with_zone(self.until)}" if self.until else "")


class FigureJob(Struct, frozen=True):
    """A job with a figure. ``work`` is the progress of the steps that use the figure: ``done``, ``2 of 4 done`` ..."""

    session: str
    unit: str
    by: str
    opened_at: str
    closed: bool
    simulated: bool
    bench: str
    path: str
    revision: str
    work: str


class TracedFigure(Struct, frozen=True):
    """One figure with its source, and the jobs that have it: ``open`` ones, and ``finished`` ones (closed).

    ``source`` is the source for people, "" without one. ``document`` and ``edition`` are "" if the source is not a
    document. ``older`` is true if the procedure of the latest job has another figure or source here, with any options.
    """

    figure: str
    kind: str
    procedure: str
    operation: str
    text: str
    source: str
    document: str
    edition: str
    date: str
    own_choice: bool
    open: tuple[FigureJob, ...]
    finished: tuple[FigureJob, ...]
    older: bool = False


class FigureTrace(Struct, frozen=True):
    """The result: each figure with its jobs. ``looked_at`` counts the jobs searched; ``left_out`` names the others."""

    asked: str
    figures: tuple[TracedFigure, ...]
    looked_at: int
    left_out: tuple[str, ...]
    notes: tuple[str, ...] = ()


class _Use(Struct, frozen=True):
    """One figure in one job. ``work`` is the progress of the steps that use it.

    ``possible`` are the figures of the job's procedure with any options and at any place, each with its place, text and
    source. ``titles`` are the names of the figure on the screen and on the sheet.
    """

    figure: Figure
    job: SessionMatch
    work: str
    possible: frozenset[tuple[str, str, str, str]]
    titles: tuple[str, ...] = ()


def trace_figures(source: SessionSource, question: FigureQuestion, reader: ProcedureReader) -> FigureTrace:
    """Every figure that the question is about, with the jobs that have it; open jobs apart from finished ones.

    Raises:
        UnknownName: no job has such a figure or source. The message has the nearest names.
    """
    plan_of = plans(reader)
    uses: list[_Use] = []
    names: set[str] = set()
    left_out = [f"{file.path} {file.why}" for file in source.left_out()]
    in_time = False
    for job in source.sessions():
        data = source.log_bytes(job)
        state = None if data is None else _state_of(data, job, plan_of)
        if isinstance(state, State):
            counts = _in_time(job, question)
            for use in _uses(state, job):
                names.update(filter(None, _source_names(use.figure) if question.source else _figure_names(use)))
                if counts and _asked_for(use, question):
                    uses.append(use)
            in_time = in_time or counts
        else:
            left_out.append(f"{job.path} {state or 'is not in the archive, and its file is missing'}")
    searched = source.count()
    if not uses and names and not _known(question, names):
        kind, name = ("figure", question.figure) if question.figure else ("source", question.source)
        raise UnknownName(f"No job has the {kind} {name!r} ({count(searched, 'job')} searched). "
                          f"{nearest_text(name, sorted(names))}")  # fmt: skip
    timed = question.since or question.until
    notes = ("No job was worked on in that time.",) if timed and searched and not in_time else ()
    return FigureTrace(question.text, tuple(_grouped(uses)), searched, tuple(left_out), notes)


def _state_of(data: bytes, job: SessionMatch, plan_of: PlanOf) -> State | str:
    """The state at the end of a log; or why it cannot be searched, as a clause that follows its path."""
    found = read(data)
    if found.damage is not None:
        return f"does not verify: line {found.damage.line} {found.damage.what}"
    if not found.lines or found.lines[0].hash != job.session.session:
        return "is another log now"
    try:
        return interpret(found.lines, plan_of).state
    except NotASession as error:
        return f"is not the log of a session: {error}"
    except BenchflowError as error:
        return f"has a procedure that this version cannot read: {error}"


def _in_time(job: SessionMatch, question: FigureQuestion) -> bool:
    first, last = job.session.opened_at, job.session.last_at
    return (not question.until or first <= question.until) and (not question.since or last >= question.since)


# --- the figures of a job ---------------------------------------------------------------------------


def _uses(state: State, job: SessionMatch) -> Iterator[_Use]:
    """Every figure of a job. The same figure at several places is one."""
    found: dict[Figure, list[str]] = {}
    for step in state.plan.steps.values():
        for figure in figures_of_step(state, step):
            found.setdefault(_without_place(figure), []).append(step.id)
    for figure in setup_figures(state.plan.procedure):
        if figure.kind != "joint":
            found[figure] = [step.id for step in state.plan.steps.values() if figure.name in _names_used(step)]
    possible = frozenset(map(_version, figures_of(state.plan.procedure)))
    for figure, steps in found.items():
        yield _Use(figure, job, _work(state, steps), possible, tuple(_titles(state.plan.procedure, figure)))


def _version(figure: Figure) -> tuple[str, str, str, str]:
    """The identity of a figure across revisions of a procedure: its operation, name, value and source."""
    return figure.operation, figure.title, same_value(figure), _same_source(figure)


def _same_source(figure: Figure) -> str:
    """The source of a figure in one spelling, to compare: ``bulletin p.3`` and ``Bulletin p. 3`` are the same."""
    return "" if figure.source is None else without_blanks(figure.source.shown.casefold())


def same_value(figure: Figure) -> str:
    """A figure in one spelling, to compare: ``0.8 .. 2 Nm`` and ``0.8 .. 2.0 N·m`` are the same.

    The digits of a limit that is one quantity stay as written: they say how far a reading may be from it.
    """
    text = _word.sub(lambda found: _unit_spelling(found[0]), figure.text.replace("..", " .. "))
    nominal = figure.kind == "value" and ".." not in text and _quantity.fullmatch(text) is not None
    return without_blanks(text if nominal else _number.sub(lambda found: found[1] + (found[2] or ""), text))


def without_blanks(text: str) -> str:
    """``text`` without the blanks that do not matter when two texts are compared."""
    return _blank.sub("", " ".join(text.split()))


def _unit_spelling(word: str) -> str:
    try:
        return unit_symbol(word)
    except QuantityError:
        return word


def _without_place(figure: Figure) -> Figure:
    name = StepId.parse(figure.name).operation if figure.kind == "window" else ValueRef.parse(figure.name).name
    operation = StepId.parse(figure.operation).operation
    return Figure(figure.kind, name, figure.text, figure.source, operation, figure.stage, figure.limit, figure.mark)


def _names_used(step: Step) -> set[str]:
    operation = step.operation
    names = {ref.name for ref in operation.uses}
    names |= {name for record in operation.record for name in instruments_of(record)}
    return names | ({operation.tighten.instrument or ""} if operation.tighten is not None else set())


def _work(state: State, steps: Sequence[str]) -> str:
    """The progress of these steps."""
    done = sum(step in state.done for step in steps)
    if done and done == len(steps):
        return DONE
    if done:
        return f"{done} of {len(steps)} done"
    if any(state.work(step).touched for step in steps):
        return BEGUN
    return NEVER_DONE if state.closed else NOT_DONE


# --- what is asked for ------------------------------------------------------------------------------


def _figure_names(use: _Use) -> Iterator[str]:
    """The names that a figure can be asked by."""
    figure = use.figure
    yield figure.title
    if figure.kind == "window":
        yield f"time {figure.name}"
    else:
        yield figure.name
    yield from use.titles


def _titles(procedure: Procedure, figure: Figure) -> Iterator[str]:
    """The titles of a figure: ``End float of the shaft``; ``Cover bolts`` and ``Cover bolts, stage 1``."""
    operation = procedure.operations_by_id.get(figure.operation)
    match figure.kind:
        case "value" if operation is not None:
            values = (value for value in values_of(operation) if value.name == figure.name)
            yield from (value.ask if isinstance(value, RecordedValue) else value.title for value in values)
        case "choice" if operation is not None:
            yield from (choice.title for choice in operation.choose if choice.name == figure.name)
        case "joint" | "stage" if figure.name in procedure.joints_by_id:
            title = procedure.joints_by_id[figure.name].title
            yield title
            if title and figure.stage:
                yield from (f"{title} stage {figure.stage}", f"{title}, stage {figure.stage}")
        case "instrument":
            yield procedure.instruments_by_id[figure.name].title
        case "kit":
            yield procedure.kit_by_id[figure.name].title
        case _:
            return


def _source_names(figure: Figure) -> Iterator[str]:
    """The names that the source of a figure can be asked by: a document's id or title, `own choice`, or the text."""
    source = figure.source
    if source is None:
        return
    if source.own_choice:
        yield OWN_CHOICE
    if source.document is not None:
        yield from (source.document.id, source.document.title)
    yield source.text


def _asked_for(use: _Use, question: FigureQuestion) -> bool:
    figure = use.figure
    if question.figure:
        return _matches(question.figure, filter(None, _figure_names(use)))
    asked = folded(question.source)
    text = "" if figure.source is None else folded(figure.source.text)
    begins = text.startswith(asked) and not text[len(asked) : len(asked) + 1].isalnum()
    if figure.source is not None and figure.source.own_choice:
        begins = begins and asked.startswith(OWN_CHOICE)
    return begins or _matches(question.source, _source_names(figure))


def _matches(asked: str, names: Iterator[str]) -> bool:
    plain = folded(asked)
    return any(folded(name) in (plain, plain.partition("[")[0]) for name in names)


def _known(question: FigureQuestion, names: set[str]) -> bool:
    return _matches(question.figure or question.source, iter(names))


# --- groups -----------------------------------------------------------------------------------------


def _grouped(uses: Sequence[_Use]) -> Iterator[TracedFigure]:
    """The uses by figure, text and source. Figures are in the order of their first job, and jobs from the oldest."""
    places: dict[tuple[str, str, str], dict[tuple[str, str], list[_Use]]] = {}
    for use in sorted(uses, key=lambda one: one.job.session.opened_at):
        figure = use.figure
        place = use.job.session.procedure_id, figure.operation, figure.title
        places.setdefault(place, {}).setdefault((same_value(figure), _same_source(figure)), []).append(use)
    for by_text in places.values():
        latest = max((use for same in by_text.values() for use in same), key=lambda use: use.job.session.opened_at)
        for same in by_text.values():
            in_latest = any(use.job.session.session == latest.job.session.session for use in same)
            older = not in_latest and _version(same[0].figure) not in latest.possible
            yield _traced(same, older=older)


def _traced(uses: Sequence[_Use], *, older: bool) -> TracedFigure:
    figure = uses[0].figure
    source = figure.source
    document = None if source is None else source.document
    jobs: Mapping[bool, list[FigureJob]] = {True: [], False: []}
    for use in uses:
        session = use.job.session
        jobs[session.closed].append(
            FigureJob(
                session.session, session.unit, session.by, session.opened_at, session.closed, session.simulated,
                use.job.bench, use.job.path, session.revision, use.work,
            )
        )  # fmt: skip
    return TracedFigure(
        figure=figure.title,
        kind=figure.kind,
        procedure=uses[0].job.session.procedure_id,
        operation=figure.operation,
        text=figure.text,
        source="" if source is None else source.shown,
        document="" if document is None else document.id,
        edition="" if source is None else source.edition,
        date="" if document is None or (source is not None and source.other_edition) else document.date,
        own_choice=source is not None and source.own_choice,
        open=tuple(jobs[False]),
        finished=tuple(jobs[True]),
        older=older,
    )
