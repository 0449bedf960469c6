"""Sentences on what a log says about the register of the shop: another register, changed people, wrong PINs."""

from collections import Counter
from collections.abc import Iterable, Iterator

from benchflow.review.formatting import count
from benchflow.session.history.event_text import event_text
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.log.line_format import Line
from benchflow.session.state.events import JobResumed, PinRefused, RegisterChanged, event_of

_WITHOUT_TITLES = LogTitles(None, None)


def register_remarks(lines: Iterable[Line]) -> Iterator[str]:
    """Each use of another register with its reason, each change of a person, and the number of wrong PINs."""
    wrong: Counter[str] = Counter()
    for line in lines:
        if line.kind not in _KINDS:
            continue
        event = event_of(line)
        if isinstance(event, PinRefused):
            wrong[event.person] += 1
        elif isinstance(event, RegisterChanged) or (isinstance(event, JobResumed) and event.other_register):
            yield f"Event {line.seq}: {event_text(event, _WITHOUT_TITLES)}."
    for name, times in wrong.items():
        yield f"A wrong PIN was entered for {name} {count(times, 'time')}."


def signature_proof_text(lines: tuple[Line, ...], seq: int) -> str:
    """``with PIN`` if the signature of event ``seq`` was proven by one; "" if only the name was given."""
    proven = lines[seq - 1].data.get("proven") if 0 < seq <= len(lines) else None
    return "with PIN" if proven == "pin" else ""


_KINDS = ("resumed", "register-changed", "pin-refused")
