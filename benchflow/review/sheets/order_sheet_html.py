"""Writes the order sheet as one self-contained HTML page: no network, no script, no other files."""

from typing import TYPE_CHECKING

from benchflow.base.plaintext import clean
from benchflow.review.sheets.html_pages import style, template
from benchflow.review.sheets.order_sheet_blanks import JointBlank
from benchflow.review.sheets.order_sheet_page import OrderSheetPage
from benchflow.trade.joint_picture import joint_svg

if TYPE_CHECKING:
    from markupsafe import Markup


def order_sheet_html(page: OrderSheetPage) -> str:
    """The page. Text from the procedure is escaped and cleaned of control characters."""
    return clean(
        template("order_sheet.html.j2").render(
            page=page, joint=_joint_picture, style=style("sheet.css", "order_sheet.css")
        )
    )


def _joint_picture(joint: JointBlank) -> "Markup":
    from markupsafe import Markup

    return Markup(joint_svg(joint.fasteners, joint.title, joint.sides))  # the function that makes it has escaped it
