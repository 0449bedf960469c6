"""The trend of a reading over all builds.

Only valid readings count. Simulated sessions are left out, with a note, if there are real ones. Procedures, revisions,
kinds of quantity and, where an option decides it, limits are kept apart: their readings are not comparable.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from msgspec import Struct

from benchflow.quantity import Quantity, QuantityError, base, convert, dimension_of, show_short
from benchflow.quantity.arithmetic import from_base
from benchflow.quantity.shown import decimals_shown, round_half_up
from benchflow.review.log.facts import ReadingFact
from benchflow.review.log.margin import band
from benchflow.review.many.control_chart import chart_of
from benchflow.review.many.known_names import refuse_unknown_name
from benchflow.review.many.procedure_revisions import (
    ProcedureKey,
    procedure_key,
    several_procedures,
    without_simulated,
)
from benchflow.review.many.session_question import Question, ReadingSubject, SessionMatch, SessionSource
from benchflow.review.many.teardown_search import about, trace_teardowns
from benchflow.review.many.trend_sentences import chart_sentences
from benchflow.review.many.trend_series import Point, Series, decimals_of


class Trend(Struct, frozen=True):
    """A reading over all builds, one series per place, procedure and revision. ``notes`` name what was left out, with
    the reason."""

    series: tuple[Series, ...]
    notes: tuple[str, ...]


class _SeriesKey(NamedTuple):
    """What the readings of one series have in common. ``limit`` is "" if the limit does not decide."""

    name: str
    procedure: ProcedureKey
    dimension: str
    limit: str = ""


_Readings = list[tuple[SessionMatch, ReadingFact]]


def trend_over_builds(source: SessionSource, name: str, since: str = "", until: str = "") -> Trend:
    """The value ``name`` over all builds, one series for each of its places (``journal[1]``, ``journal[2]``).

    Raises:
        UnknownName: no job has the reading.
    """
    matches = source.ask(Question(ReadingSubject(name), since, until))
    if not matches:
        refuse_unknown_name(source, ReadingSubject(name))
    found, left_out = without_simulated(matches)
    notes = (*left_out, *_teardown_notes(source, name, since, until))
    readings: dict[_SeriesKey, _Readings] = {}
    for one in found:
        for reading in one.readings:
            if reading.in_force:
                key = _SeriesKey(reading.name, procedure_key(one.session), _dimension(reading.unit))
                readings.setdefault(key, []).append((one, reading))
    apart = dict(part for key, pairs in readings.items() for part in _split_by_limit(key, pairs))
    series = tuple(_series_of_value(key, apart[key]) for key in sorted(apart, key=_natural_order))
    return Trend(series, (*notes, *several_procedures(key.procedure for key in apart), *_dimension_notes(apart)))


def _teardown_notes(source: SessionSource, name: str, since: str, until: str) -> Iterator[str]:
    """A note if teardowns have the reading too: it has no limit there, so it is in no series."""
    found = trace_teardowns(source.teardowns(), about(ReadingSubject(name)), since, until)
    if found:
        where = "1 teardown has" if len(found) == 1 else f"{len(found)} teardowns have"
        yield f"{where} this reading too, without a limit. List them with: benchflow trace --reading '{name}'"


def _dimension(unit: str) -> str:
    try:
        return dimension_of(unit) if unit else ""
    except QuantityError:
        return unit


def _natural_order(key: _SeriesKey) -> tuple[list[tuple[int, str]], _SeriesKey]:
    """The sort key: ``journal[2]`` before ``journal[10]``."""
    parts = [(int(part), "") if part.isdecimal() else (-1, part) for part in re.split(r"([0-9]+)", key.name)]
    return parts, key


def _dimension_notes(keys: Iterable[_SeriesKey]) -> Iterator[str]:
    by_name: dict[str, set[str]] = {}
    for key in keys:
        by_name.setdefault(key.name, set()).add(key.dimension or "number")
    for name, dimensions in sorted(by_name.items()):
        if len(dimensions) > 1:
            yield f"{name} is kept apart by kind of quantity: {', '.join(sorted(dimensions))}."


def _split_by_limit(key: _SeriesKey, pairs: _Readings) -> Iterator[tuple[_SeriesKey, _Readings]]:
    """The readings, split by their limits if each choice of options has one limit and they differ."""
    limits: dict[tuple[tuple[str, str], ...], set[str]] = {}
    for one, reading in pairs:
        limits.setdefault(tuple(sorted(one.session.options.items())), set()).add(reading.limit)
    decided = {limit for of_options in limits.values() for limit in of_options}
    if len(decided) == 1 or any(len(of_options) > 1 for of_options in limits.values()):
        yield key, pairs
        return
    for limit in decided:
        yield key._replace(limit=limit), [pair for pair in pairs if pair[1].limit == limit]


def _series_of_value(key: _SeriesKey, pairs: _Readings) -> Series:
    sessions: dict[str, _Readings] = {}
    for pair in pairs:
        sessions.setdefault(pair[0].session.session, []).append(pair)
    newest, last = max(pairs, key=lambda pair: pair[1].at)
    unit = last.unit  # of the latest build
    points = sorted((_point_of_build(of_one, unit) for of_one in sessions.values()), key=lambda p: (p.at, p.session))
    chart = None
    if len(points) > 1:
        step = 10.0 ** -min(decimals_of(point.shown) for point in points)
        chart = chart_of([point.value for point in points], points[-1].low, points[-1].high, step)
    sentences = tuple(chart_sentences(points, chart, unit))
    title = newest.session.procedure_title
    return Series(key.name, unit, tuple(points), chart, sentences, key.procedure.procedure, title,
                  key.procedure.revision, key.limit)  # fmt: skip


def _point_of_build(pairs: _Readings, unit: str) -> Point:
    """The point of one build: the mean and the worst verdict of its readings."""
    found, last = max(pairs, key=lambda pair: pair[1].seq)
    values = [convert(Quantity(Decimal(r.value), r.unit, r.entered), unit) for _, r in pairs]
    within = band(last.limit, unit)
    worst = min((r.verdict for _, r in pairs), key=["low", "high", "not-proven", "none", "ok"].index)
    exact = from_base(sum((base(value) for value in values), Fraction(0)) / len(values), unit)
    return Point(
        found.session.session, found.session.unit, last.at, float(exact),
        None if within.low is None else float(within.low), None if within.high is None else float(within.high),
        last.limit, worst, last.seq, found.path, found.session.simulated,
        _mean_text(exact, values), _without_unit(within.low_text), _without_unit(within.high_text),
    )  # fmt: skip


def _mean_text(exact: Fraction, values: Sequence[Quantity]) -> str:
    """One reading to the digits that it bears; the mean of several with one decimal more, if it is not exact before."""
    if len(values) == 1:
        return _without_unit(show_short(values[0]))
    places = max(decimals_shown(value) for value in values)
    short = round_half_up(exact, places)
    return f"{short if Fraction(short) == exact else round_half_up(exact, places + 1):f}"


def _without_unit(text: str) -> str:
    return text.split(" ")[0].removesuffix("°")
