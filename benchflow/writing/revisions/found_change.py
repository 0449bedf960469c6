"""A change of a procedure with its reason from the logs, before it becomes a numbered proposal."""

from typing import Literal

from msgspec import Struct

from benchflow.writing.revisions.job_evidence import LogEvidence

ChangeKind = Literal[
    "note", "deviation", "correction", "come-back", "figure", "time", "waived", "deviated", "remedy", "answered-no",
    "near-limit", "never-done", "printed",
]  # fmt: skip
"""The kinds of proposals, in the order in which they are listed."""

Action = Literal["set", "append", "comment"]
"""``set`` a key, ``append`` an item to a list, or write a ``comment`` above the operation."""


class FoundChange(Struct, frozen=True):
    """One change. ``why`` is the reason with its numbers, for people.

    ``operation`` is "" for the whole procedure. ``path`` leads from the operation to the value that ``set`` or
    ``append`` changes; for a comment it leads to the value that a person would change, or is empty. ``value`` is the
    new value, the words of the comment, or "" if only a person can give it.
    """

    kind: ChangeKind
    operation: str
    topic: str
    title: str
    why: str
    evidence: tuple[LogEvidence, ...]
    action: Action = "comment"
    path: tuple[str | int, ...] = ()
    value: str = ""
    source: str = ""  # only for a figure that is filled in
    unsure: str = ""  # why a person has to look before it is accepted
    in_own_words: bool = False  # the value is a draft that a person should write in own words

    @property
    def identity(self) -> tuple[str, str, str]:
        """Equal for the same change found in different sets of jobs."""
        return self.kind, self.operation, self.topic
