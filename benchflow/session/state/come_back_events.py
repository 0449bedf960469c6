"""The events of a come-back: the customer's complaint, and what it turned out to be.

They are part of :mod:`benchflow.session.state.events`, and may follow the end of the job.
"""

from typing import Literal

from msgspec import Struct

from benchflow.session.state.event_basics import Event, SignatureProof

YesNo = Literal["", "yes", "no"]
"""An answer; empty if it was left open."""

WhenNoticed = Literal["", "hot", "cold"]
"""When the complaint is noticed: with the engine hot, or cold; empty if it was left open."""

Outcome = Literal["ours", "machine-shop", "part", "customer-part", "use", "unknown"]
"""The cause of a come-back: our work, the machine shop, a part that we supplied or the customer did, the use of the
engine, or not found out."""


class FirstAnswers(Struct, frozen=True, omit_defaults=True):
    """The answers to the first questions of a review. Each may be left open."""

    running: YesNo = ""  # is the engine still run?
    since: str = ""  # hours or distance since the build, such as 40 h or 1200 km
    when: WhenNoticed = ""
    touched: str = ""  # who has worked on it since the build, and on what
    retorque: YesNo = ""  # were the fasteners checked again, as the follow-up says?
    changed: str = ""  # change of fuel, tune or use


class ComplaintReported(Event, frozen=True, tag="complaint"):
    """A customer's complaint, in his words, with the answers to the first questions."""

    text: str
    answers: FirstAnswers = FirstAnswers()


class FindingRecorded(Event, frozen=True, tag="found"):
    """What a come-back turned out to be."""

    complaint: str
    finding: str
    outcome: Outcome
    date: str  # the day of the finding, such as 2026-03-01
    operation: str = ""  # id of the step that caused it or should have prevented it; empty if there is none
    hours: str = ""  # hours of work that the come-back took, a decimal number; empty if not known
    replaces: int | None = None  # ``seq`` of the finding that this one corrects
    proven: SignatureProof = ""


class FindingWithdrawn(Event, frozen=True, tag="finding-withdrawn"):
    """A wrong finding was withdrawn."""

    event: int  # ``seq`` of the finding
    reason: str
    proven: SignatureProof = ""
