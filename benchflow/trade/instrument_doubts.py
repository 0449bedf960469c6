"""When an instrument was in doubt: from its last good check, or the calibration before, to the calibration after."""

from datetime import date

from msgspec import Struct


class Doubt(Struct, frozen=True, omit_defaults=True):
    """A doubt about an instrument, such as a fall or a bad calibration.

    ``found`` is the day on which it was found, ``last_good`` the last day on which the instrument was known to read
    right, ``calibrated`` the day of the calibration that ended the doubt. ``None``: not known, or not ended.
    """

    reason: str
    found: date | None = None
    last_good: date | None = None
    calibrated: date | None = None

    def covers(self, day: date) -> bool:
        """True if a use on ``day`` is in doubt: after the last good check, and before the next calibration."""
        return (self.last_good is None or day > self.last_good) and (self.calibrated is None or day < self.calibrated)

    def share(self, day: date) -> float:
        """How late ``day`` is between the last good check and the doubt, from 0 to 1; 1 where that is not known."""
        if self.found is None or self.last_good is None or day >= self.found:
            return 1.0
        return (day - self.last_good).days / (self.found - self.last_good).days

    @property
    def words(self) -> str:
        """The doubt as a clause: ``dropped (found 2026-05-01, last good check 2025-11-03, calibrated 2026-06-01)``."""
        days = (("found", self.found), ("last good check", self.last_good), ("calibrated", self.calibrated))
        dated = ", ".join(f"{what} {day}" for what, day in days if day is not None)
        return f"{self.reason} ({dated})" if dated else self.reason
