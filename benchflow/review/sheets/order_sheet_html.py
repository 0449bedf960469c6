"""The sheet in one safe order as one page that needs nothing else: no network, no script, no file beside it."""

from typing import TYPE_CHECKING

from benchflow.base.plaintext import clean
from benchflow.review.sheets.html_pages import style, template
from benchflow.review.sheets.order_sheet_page import JointBlank, OrderSheetPage
from benchflow.trade.joint_picture import joint_svg

if TYPE_CHECKING:
    from markupsafe import Markup


def html(page: OrderSheetPage) -> str:
    """The page. Every text from the procedure is escaped, and carries no control characters."""
    return clean(
        template("order_sheet.html.j2").render(page=page, joint=_joint, style=style("sheet.css", "order_sheet.css"))
    )


def _joint(joint: JointBlank) -> "Markup":
    from markupsafe import Markup

    return Markup(joint_svg(joint.fasteners, joint.title))  # escaped where it is made
