"""A whole account of one session: its log, its procedure as it was that day, and how everything came to stand."""

from pathlib import Path

from msgspec import Struct

from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from benchflow.review.log.facts import Facts
from benchflow.review.log.interpretation import plans
from benchflow.review.log.log_file import Log, read_log
from benchflow.review.log.versions import is_newer
from benchflow.session.procedure_loading import Read
from benchflow.session.state.state import State


class Account(Struct, frozen=True):
    """One session as far as its log can be trusted. ``warnings`` say, in words, what to keep in mind."""

    log: Log
    warnings: tuple[str, ...]

    @property
    def state(self) -> State:
        return self.log.state

    @property
    def facts(self) -> Facts:
        return self.log.facts

    @property
    def plan(self) -> Plan:
        return self.state.plan

    @property
    def procedure(self) -> Procedure:
        return self.state.plan.procedure


def account(path: Path, read: Read) -> Account:
    """The session at ``path``, its chain verified, as far as that holds.

    Raises:
        NoLog: there is no session to be read.
        BenchflowError: the procedure in it cannot be read.
    """
    log = read_log(path, plans(read))
    return Account(log, _warnings(log, log.state))


def _warnings(log: Log, state: State) -> tuple[str, ...]:
    session = log.facts.session
    found: list[str] = []
    if log.damage is not None:
        found.append(
            f"The chain is broken: line {log.damage.line} {log.damage.what}. "
            f"Only the {session.events} events before it are told here."
        )
    if log.torn:
        found.append("The last line is not whole; the event in it had not been confirmed to anybody.")
    if session.simulated:
        found.append("This is a simulated session: its times were given to it, nobody stood at a bench.")
    if is_newer(session.version):
        found.append(f"It was written by a newer version ({session.version}); what this one does not know is left out.")
    if session.unknown:
        found.append(f"{session.unknown} events are of kinds that this version does not know.")
    if session.clock_back:
        found.append(
            f"The clock was seen going backwards {session.clock_back} time{'s' * (session.clock_back > 1)}: "
            "durations across these are by the clock on the wall."
        )
    if not session.closed:
        found.append("The session has not been closed.")
    left = len(state.plan.steps) - len(state.done)
    if session.closed and left:
        why = f" ({session.why_open})" if session.why_open else ""
        found.append(f"It was closed with {left} of {len(state.plan.steps)} operations not done{why}.")
    return tuple(found)
