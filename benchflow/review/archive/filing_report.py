"""What came of bringing logs into the archive."""

from msgspec import Struct

from benchflow.review.many.session_question import LeftOut


class FilingReport(Struct, frozen=True):
    """``left_out`` is everything looked at and kept out, now or earlier; ``newer`` names logs that a newer version
    wrote, of which this one understood only a part; ``gone`` are logs that the index still has and whose files are
    no longer there."""

    looked_at: int
    new: int
    grown: int
    unchanged: int
    copies: int
    events: int
    left_out: tuple[LeftOut, ...]
    newer: tuple[str, ...]
    gone: tuple[str, ...]

    @property
    def changed(self) -> bool:
        """Whether anything was brought in."""
        return bool(self.new or self.grown)
