"""The content of the build sheet as types: every operation, value, part and instrument, as text ready to print."""

from msgspec import Struct

from benchflow.procedure.model import Caution
from benchflow.review.sheets.joint_on_sheet import SheetJoint
from benchflow.review.sheets.pictures_on_sheet import SheetPicture
from benchflow.session.view.bench_view import GaugePositions
from benchflow.trade.verdict import Verdict

NOT_THE_MANUAL = (
    "This sheet records what was done and measured. It does not replace the maker's manual, local codes or licensed "
    "practice. Where they require more, follow them."
)


class SheetValue(Struct, frozen=True):
    """One value. ``gauge`` is the position of the judged figure on its limit; ``None``: there is no limit to draw."""

    name: str
    ask: str
    figures: tuple[tuple[str, str], ...]  # of the readings in force: slot ("" for a single reading), figure
    judged: str
    limit: str
    low: str
    high: str
    verdict: Verdict
    words: str
    gauge: GaugePositions | None
    filled: str
    waived: str
    tools: tuple[str, ...]
    earlier: tuple[str, ...]  # replaced readings
    used: bool = False  # the builder stated a used part, so the limit for used parts was taken
    source: str = ""  # where the limit comes from; "" if that is the source of the whole procedure


class BuildSheetOperation(Struct, frozen=True):
    """One operation on the sheet, done or not. Empty texts are not printed."""

    operation: str
    number: int
    title: str
    done: bool
    by: str
    at: str
    took: str
    taken_over: str
    values: tuple[SheetValue, ...]
    joint: SheetJoint | None
    checks: tuple[tuple[str, bool], ...]
    parts: tuple[str, ...]
    signed: str
    self_signed: bool
    hold: str
    deviations: tuple[str, ...]
    redone: tuple[str, ...]
    remedies: tuple[str, ...]
    failed_fasteners: tuple[str, ...]
    notes: tuple[str, ...]
    trial: str = ""  # which operation took it apart again as planned


class SheetSection(Struct, frozen=True):
    """The operations of one section of the procedure."""

    title: str
    operations: tuple[BuildSheetOperation, ...]


class SheetFollowUp(Struct, frozen=True):
    """Work due after the build: on a day, or by another measure such as ``500 km``."""

    title: str
    due: str  # 2026-03-16, or ""
    or_: str


class BuildSheet(Struct, frozen=True):
    """The whole build sheet. ``facts`` are pairs of label and text; ``head`` is the fingerprint of the log."""

    title: str
    subject: str
    unit: str
    simulated: bool
    notice: str
    cautions: tuple[Caution, ...]
    facts: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    sound: bool
    events: int
    head: str
    untrusted: tuple[str, ...]  # the readable lines from the damage on, as text
    exceptions: tuple[str, ...]  # deviations, rework and the like, one line each
    sections: tuple[SheetSection, ...]
    parts: tuple[tuple[str, ...], ...]  # item, lot or part, where used
    instruments: tuple[tuple[str, ...], ...]  # title, serial, calibrated, due, uncertainty, remarks
    follow_up: tuple[SheetFollowUp, ...]
    notes: tuple[str, ...]
    disclaimer: str
    suspects: bool = True  # the review suspects a step, or the whole job
    removed_parts: tuple[tuple[str, ...], ...] = ()  # lots thrown away or replaced: as `parts`
    hours: tuple[tuple[str, ...], ...] = ()  # the table of `benchflow hours`, its head first
    hours_remarks: tuple[str, ...] = ()
    handover: tuple[tuple[str, str], ...] = ()  # advice for the customer: heading, text
    elsewhere: tuple[str, ...] = ()  # operations done outside the shop
    pictures: tuple[SheetPicture, ...] = ()

    def pictures_of(self, operation: str) -> tuple[SheetPicture, ...]:
        """The pictures of an operation; of the job as a whole for ""."""
        return tuple(picture for picture in self.pictures if picture.operation == operation)
