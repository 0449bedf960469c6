"""A job on a small procedure, for tests of the review. The test sets the clock."""

from pathlib import Path

from benchflow.procedure.compiled_cache import Loaded
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.evidence.weak_points import weak_points_of
from benchflow.review.log.loaded_log import LoadedLog, load_log
from benchflow.session.controller import SessionController
from benchflow.session.shop.live_register import Register
from tests.driving.script import load_text, procedure_with, read_procedure
from tests.driving.session_driver import ManualClock, SessionDriver


class SmallJob(SessionDriver):
    """A job that is open, on the new log ``log``. ``operations`` and ``head`` are as in :func:`procedure_with`.

    ``shop`` is the text of a register.
    """

    def __init__(self, log: Path, *operations: str, head: str = "", pace: float = 10.0, shop: str = "") -> None:
        self.log = log
        clock = ManualClock()
        source: Loaded = load_text(procedure_with(*operations, head=head))
        register = None
        if shop:
            path = log.with_suffix(".shop.yaml")
            path.write_text(shop, encoding="utf-8")
            register = Register(path)
        controller = SessionController.begin(
            log, source, file="p.yaml", read=read_procedure, clock=clock, register=register
        )
        super().__init__(controller, clock, pace)
        self.do("open", by="Robin", unit="job 7")

    def record(self, name: str, value: str, **fields: object) -> int:
        """Record a reading and return the number of its log line."""
        lines = self.do("record", name=name, value=value, **fields).lines
        return next(line.seq for line in lines if line.kind == "recorded")

    def loaded(self) -> LoadedLog:
        """The log as the review loads it. Nothing can be sent afterwards."""
        self.controller.close()
        return load_log(self.log, read_procedure)

    def points(self, operation: str) -> dict[str, WeakPoint]:
        """The weak points of ``operation`` by their kind. Nothing can be sent afterwards."""
        log = self.loaded()
        return {point.kind: point for point in weak_points_of(log, log.plan.steps[operation])}
