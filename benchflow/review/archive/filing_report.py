"""The result of filing logs in the archive."""

from msgspec import Struct

from benchflow.review.many.session_question import LeftOut


class FilingReport(Struct, frozen=True):
    """The number of logs by result, and lists of the logs that need attention.

    ``left_out`` were left out now or earlier. ``newer`` are logs of another version, read only in part. ``gone`` are
    logs whose sessions are in the index and whose files are missing. ``failing`` are logs that fail the audit.
    ``behind`` are logs that end before what was filed, as a restored backup does. ``forked`` are logs in which a line
    is not the one that was filed.
    """

    looked_at: int
    new: int
    grown: int
    unchanged: int
    copies: int
    events: int
    left_out: tuple[LeftOut, ...]
    newer: tuple[str, ...]
    gone: tuple[str, ...]
    failing: tuple[str, ...] = ()
    behind: tuple[LeftOut, ...] = ()
    forked: tuple[LeftOut, ...] = ()

    @property
    def changed(self) -> bool:
        """True if a log was added or has grown."""
        return bool(self.new or self.grown)
