"""Writes the build sheet as one self-contained HTML page: no network, no script, no other files."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from benchflow.base.plaintext import clean, clean_line
from benchflow.review.log.loaded_log import SIMULATED_NOTE
from benchflow.review.sheets.html_pages import style, template
from benchflow.review.sheets.joint_on_sheet import SheetJoint
from benchflow.review.sheets.sheet_content import BuildSheet, SheetValue
from benchflow.trade.gauge_picture import GaugeTexts, gauge_svg
from benchflow.trade.joint_picture import joint_svg
from benchflow.trade.verdict import NOT_ACCEPTED, VERDICT_TEXT

if TYPE_CHECKING:
    from markupsafe import Markup


def build_sheet_html(sheet: BuildSheet, links: Mapping[int, str] | None = None) -> str:
    """The page. Text from the log and the procedure is escaped and cleaned of control characters.

    ``links`` are the links to the whole pictures, by event.
    """
    page = template("sheet.html.j2").render(
        sheet=sheet,
        # A simulated job has its own banner; the other warnings are listed with the deviations.
        warnings=[line for line in sheet.warnings if line != SIMULATED_NOTE],
        fingerprint=[sheet.head[start : start + 8] for start in range(0, len(sheet.head), 8)],
        gauge=_gauge_picture,
        verdict_text=VERDICT_TEXT,
        not_accepted=NOT_ACCEPTED,
        joint=joint_picture,
        links=links or {},
        style=style("sheet.css", "shop_copy.css") + page_margins("", sheet.title, sheet.unit),
    )
    return clean(page)


def page_margins(*names: str) -> "Markup":
    """The style of the page margins in print: ``names`` at the left, the number of the page at the right."""
    from markupsafe import Markup

    running = _css_text(", ".join(name for name in names if name))
    return Markup(
        f"\n@page {{ @bottom-left {{ content: {running}; {_MARGIN_STYLE} }}"
        f' @bottom-right {{ content: "Page " counter(page) " of " counter(pages); {_MARGIN_STYLE} }} }}\n'
    )


_MARGIN_STYLE = 'font: 8pt "Liberation Sans", Arial, sans-serif; color: #555'


def _css_text(text: str) -> str:
    """``text`` as a string of a style sheet. Every character that could end the string or the element is escaped.

    Source: CSS Syntax Level 3, 4.3.7, escapes as hexadecimal code points.
    """
    kept = (char if char.isalnum() or char in " .,:-" else f"\\{ord(char):x} " for char in clean_line(text)[:90])
    return '"' + "".join(kept) + '"'


def _gauge_picture(value: SheetValue) -> "Markup":
    from markupsafe import Markup

    assert value.gauge is not None  # the template calls this only for values with a gauge
    words = GaugeTexts(low=value.low, high=value.high, value=value.judged, verdict=value.verdict)
    return Markup(
        gauge_svg(value.gauge, words, title=f"{value.ask}: {value.judged}")
    )  # the function that makes it has escaped it


def joint_picture(joint: SheetJoint) -> "Markup":
    """The picture of a joint as markup that is already escaped."""
    from markupsafe import Markup

    return Markup(joint_svg(joint.fasteners, joint.title, joint.sides))  # the function that makes it has escaped it
