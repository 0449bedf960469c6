"""Doubts of the register about a traced instrument: which jobs used it between its last good check and the next one."""

from collections.abc import Iterable, Iterator
from datetime import date

from benchflow.review.evidence.instrument_points import doubt_points
from benchflow.review.evidence.ranking import WeakPoint, worst_first
from benchflow.review.formatting import local_day
from benchflow.review.many.session_question import InstrumentSubject, SessionMatch, Subject
from benchflow.session.shop.register import Shop, find_instrument
from benchflow.trade.instruments import Instrument


def doubtful_instruments(register: Shop | None, subject: Subject) -> tuple[Instrument, ...]:
    """The instruments of the question about which the register has a doubt, present or ended."""
    if register is None or not isinstance(subject, InstrumentSubject):
        return ()
    found = (find_instrument(register, name) for name in subject.serials)
    return tuple({one.id: one for one in found if one is not None and one.all_doubts}.values())


def doubt_reasons(match: SessionMatch, instruments: Iterable[Instrument]) -> Iterator[WeakPoint]:
    """For each instrument, the worst use of it in the session while it was in doubt."""
    for instrument in instruments:
        found = [
            point
            for seq, day in _uses(match)
            for point in doubt_points(instrument, instrument.serial or instrument.id, day, seq)
        ]
        yield from worst_first(found)[:1]


def checked_good_later(match: SessionMatch, instruments: tuple[Instrument, ...]) -> str:
    """The last good check of the present doubt, if the session used the instruments only up to that day; else "".

    An error that was found after that check was not there in this session.
    """
    checks = [one.all_doubts[-1].last_good for one in instruments if one.doubt]
    days = [date.fromisoformat(day) for _, day in _uses(match)]
    if not checks or not days or any(good is None or day > good for good in checks for day in days):
        return ""
    return str(min(good for good in checks if good is not None))


def _uses(match: SessionMatch) -> Iterator[tuple[int, str]]:
    """The event and the local day of each use whose work is in force."""
    yield from ((reading.seq, local_day(reading.at)) for reading in match.readings if reading.in_force)
    for stage in match.stages:
        if stage.in_force:
            yield stage.seq, local_day(stage.first_at)
            yield stage.seq, local_day(stage.last_at)
