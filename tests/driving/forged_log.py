"""Changes a log as a forger would, who seals every line again: its chain of hashes is whole afterwards."""

from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

from benchflow.session.log.line_format import Draft, read, seal

Data = dict[str, Any]


class ForgedLog:
    """The events of a log file, to be changed and saved again."""

    def __init__(self, path: Path) -> None:
        self.path = path
        parsed = read(path.read_bytes())
        assert parsed.damage is None
        self.drafts = [Draft(line.at, line.by, line.kind, deepcopy(line.data)) for line in parsed.lines]

    def at(self, kind: str, number: int = 0) -> int:
        """The index of one event of a kind; ``number`` -1 is the last one."""
        return [place for place, draft in enumerate(self.drafts) if draft.kind == kind][number]

    def event(self, kind: str, number: int = 0) -> Data:
        """The data of one event of a kind, to be changed."""
        return self.drafts[self.at(kind, number)].data

    def sent(self, name: str, number: int = 0) -> Data:
        """One intent of this name, to be changed."""
        sent = [draft.data["sent"] for draft in self.drafts if "sent" in draft.data]
        found: Data = [each for each in sent if each["intent"] == name][number]
        return found

    def drop(self, kind: str, number: int = 0) -> None:
        """Remove the intent that wrote one event of a kind, with all its lines."""
        intent = self.event(kind, number)["intent"]
        self.drafts = [draft for draft in self.drafts if draft.data["intent"] != intent]
        self.renumber()

    def move(self, kind: str, number: int, before: str) -> None:
        """Move the intent that wrote one event before the one that wrote the first event of the kind ``before``.

        The times stay in their places.
        """
        self.move_to(kind, number, self.at(before))

    def move_to(self, kind: str, number: int, place: int) -> None:
        """Move the intent that wrote one event to before the event at ``place``. The times stay in their places."""
        intent = self.event(kind, number)["intent"]
        times = [(draft.at, draft.data.get("clock")) for draft in self.drafts]
        moved = [draft for draft in self.drafts if draft.data["intent"] == intent]
        kept = [draft for draft in self.drafts if draft.data["intent"] != intent]
        place -= sum(draft in moved for draft in self.drafts[:place])
        self.drafts = [*kept[:place], *moved, *kept[place:]]
        for index, (draft, (at, clock)) in enumerate(zip(self.drafts, times, strict=True)):
            data = draft.data if clock is None else {**draft.data, "clock": clock}
            self.drafts[index] = Draft(at, draft.by, draft.kind, data)
        self.renumber()

    def insert(self, place: int, kind: str, sent: Data | None, by: str = "Robin", **data: Any) -> None:
        """Insert an intent with one event, at the time of the line before."""
        before = self.drafts[place - 1]
        clock = {} if "clock" not in before.data else {"clock": before.data["clock"]}
        group = {"intent": -1, "of": 1, **({} if sent is None else {"sent": sent})}
        self.drafts.insert(place, Draft(before.at, by, kind, {**data, **clock, **group}))
        self.renumber()

    def replace_by(self, place: int, by: str) -> None:
        draft = self.drafts[place]
        self.drafts[place] = Draft(draft.at, by, draft.kind, draft.data)

    def renumber(self) -> None:
        """Number the intents from 1 again."""
        number, before = 0, None
        for draft in self.drafts:
            if draft.data["intent"] != before:
                number, before = number + 1, draft.data["intent"]
            draft.data["intent"] = number

    def each(self, change: Callable[[Data], None], *kinds: str) -> None:
        """Change the data of every event of these kinds."""
        for draft in self.drafts:
            if draft.kind in kinds:
                change(draft.data)

    def save(self) -> Path:
        """Seal every line and write the file."""
        _, data = seal(self.drafts, None)
        self.path.write_bytes(data)
        return self.path
