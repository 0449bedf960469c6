"""Changes a log in every way that a bad disk, an editor or a forger without the chain can. Each change is found.

A change is found if the log is reported as damaged, or if its end is reported as incomplete. The events that are still
trusted must be events of the original, from its start.
"""

import random
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from benchflow.session.log.line_format import Line, read
from tests.driving.script import Script, intent, open_intent
from tests.hard_use.counts import Counts
from tests.hard_use.live_drive import PROCEDURE


def run(seconds: float, seed: int, folder: Path) -> Counts:
    chance, end = random.Random(seed), time.monotonic() + seconds
    original = _log(folder)
    lines = read(original).lines
    tried, notes = 0, list[str]()
    for what, changed in _changes(original, chance):
        if tried >= 500 and time.monotonic() >= end:
            break
        tried += 1
        problem = _not_found(original, lines, changed)
        if problem:
            notes.append(f"{what}: {problem}")
    return Counts("changed bytes in a log", tried, tried - len(notes), tuple(notes))


def _log(folder: Path) -> bytes:
    script = Script(folder, PROCEDURE)
    ticks = [intent("tick", joint="studs", fastener=number) for number in (1, 2, 3, 4)]
    readings = [intent("record", name="gap", value=f"0.1{number} mm") for number in (1, 2, 3)]
    script.do_all(
        open_intent(), intent("start", operation="gap"), *readings, intent("finish"), intent("note", text="½ turn 🔩")
    )
    script.do_all(intent("start", operation="pull"), *ticks, *ticks, intent("finish"), intent("close"))
    return script.path.read_bytes()


def _changes(data: bytes, chance: random.Random) -> Iterator[tuple[str, bytes]]:
    """Changed copies, without end: every byte once in a random order, with other changes in between."""
    whole = data.split(b"\n")[:-1]
    others: tuple[Callable[[], tuple[str, bytes]], ...] = (
        lambda: _inserted(data, chance), lambda: _removed(data, chance), lambda: _swapped(whole, chance),
        lambda: _dropped(whole, chance), lambda: _repeated(whole, chance), lambda: _blank(data, chance),
    )  # fmt: skip
    while True:
        places = list(range(len(data)))
        chance.shuffle(places)
        for place in places:
            bit = 1 << chance.randrange(8)
            yield f"byte {place} xor {bit}", data[:place] + bytes([data[place] ^ bit]) + data[place + 1 :]
            if chance.random() < 0.2:
                yield chance.choice(others)()


def _inserted(data: bytes, chance: random.Random) -> tuple[str, bytes]:
    place, extra = chance.randrange(len(data)), chance.randbytes(chance.randint(1, 40))
    return f"{extra!r} at {place}", data[:place] + extra + data[place:]


def _blank(data: bytes, chance: random.Random) -> tuple[str, bytes]:
    place = chance.choice([index for index, byte in enumerate(data) if byte in b',:{}[]"'])
    return f"blank at {place}", data[:place] + chance.choice((b" ", b"\t", b"\r")) + data[place:]


def _removed(data: bytes, chance: random.Random) -> tuple[str, bytes]:
    place, size = chance.randrange(len(data) - 1), chance.randint(1, 60)
    return f"{size} bytes removed at {place}", data[:place] + data[place + size :]


def _swapped(lines: list[bytes], chance: random.Random) -> tuple[str, bytes]:
    one, other = sorted(chance.sample(range(len(lines)), 2))
    order = list(lines)
    order[one], order[other] = order[other], order[one]
    return f"lines {one + 1} and {other + 1} swapped", b"\n".join(order) + b"\n"


def _dropped(lines: list[bytes], chance: random.Random) -> tuple[str, bytes]:
    place = chance.randrange(len(lines) - 1)  # a log without its last line can be found only by a witness
    return f"line {place + 1} removed", b"\n".join(lines[:place] + lines[place + 1 :]) + b"\n"


def _repeated(lines: list[bytes], chance: random.Random) -> tuple[str, bytes]:
    place = chance.randrange(len(lines))
    return f"line {place + 1} repeated", b"\n".join([*lines[: place + 1], *lines[place:]]) + b"\n"


def _not_found(original: bytes, lines: list[Line], changed: bytes) -> str:
    """What is wrong with the reader's answer about a changed log; "" if the change was found."""
    if changed == original:
        return ""
    parsed = read(changed)
    if parsed.lines != lines[: len(parsed.lines)]:
        return "an event that is not in the original is trusted"
    whole = parsed.damage is None and not parsed.tail
    if whole and len(parsed.lines) == len(lines) and not _same_but_for_the_end(original, changed):
        return "nothing was found"
    if whole and len(parsed.lines) < len(lines) and not original.startswith(changed):
        return "events are missing, and nothing was found"
    return ""


def _same_but_for_the_end(original: bytes, changed: bytes) -> bool:
    """True if only the last newline is missing, or if all line ends were converted: then no event is lost."""
    return changed in (original[:-1], original.replace(b"\n", b"\r\n"))
