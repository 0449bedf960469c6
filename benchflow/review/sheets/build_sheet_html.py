"""Writes the build sheet as one self-contained HTML page: no network, no script, no other files."""

from typing import TYPE_CHECKING

from benchflow.base.plaintext import clean
from benchflow.review.log.loaded_log import SIMULATED_NOTE
from benchflow.review.sheets.html_pages import style, template
from benchflow.review.sheets.joint_on_sheet import SheetJoint
from benchflow.review.sheets.sheet_content import BuildSheet, SheetValue
from benchflow.trade.gauge_picture import GaugeTexts, gauge_svg
from benchflow.trade.joint_picture import joint_svg
from benchflow.trade.verdict import NOT_ACCEPTED, VERDICT_TEXT

if TYPE_CHECKING:
    from markupsafe import Markup


def build_sheet_html(sheet: BuildSheet) -> str:
    """The page. Text from the log and the procedure is escaped and cleaned of control characters."""
    page = template("sheet.html.j2").render(
        sheet=sheet,
        # A simulated job has its own banner; the other warnings are listed with the deviations.
        warnings=[line for line in sheet.warnings if line != SIMULATED_NOTE],
        fingerprint=[sheet.head[start : start + 8] for start in range(0, len(sheet.head), 8)],
        gauge=_gauge_picture,
        verdict_text=VERDICT_TEXT,
        not_accepted=NOT_ACCEPTED,
        joint=_joint_picture,
        style=style("sheet.css"),
    )
    return clean(page)


def _gauge_picture(value: SheetValue) -> "Markup":
    from markupsafe import Markup

    assert value.gauge is not None  # the template calls this only for values with a gauge
    words = GaugeTexts(low=value.low, high=value.high, value=value.judged, verdict=value.verdict)
    return Markup(
        gauge_svg(value.gauge, words, title=f"{value.ask}: {value.judged}")
    )  # the function that makes it has escaped it


def _joint_picture(joint: SheetJoint) -> "Markup":
    from markupsafe import Markup

    return Markup(joint_svg(joint.fasteners, joint.title, joint.sides))  # the function that makes it has escaped it
