"""The sheet in one safe order as one page that needs nothing else: no network, no script, no file beside it."""

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from benchflow.plaintext import clean
from benchflow.review.order_sheet_page import JointBlank, Page
from benchflow.trade.pictures import joint_svg

if TYPE_CHECKING:
    from jinja2 import Template
    from markupsafe import Markup


def html(page: Page) -> str:
    """The page. Every text from the procedure is escaped, and carries no control characters."""
    return clean(_template().render(page=page, joint=_joint, style=_style()))


@cache
def _template() -> "Template":
    from jinja2 import Environment, PackageLoader, StrictUndefined  # late: only a sheet needs it

    environment = Environment(
        loader=PackageLoader("benchflow.review"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("order_sheet.html.j2")


@cache
def _style() -> "Markup":
    """The build sheet's looks, and what only this sheet has."""
    from markupsafe import Markup

    folder = files("benchflow.review").joinpath("templates")
    return Markup(
        "\n".join(folder.joinpath(name).read_text(encoding="utf-8") for name in ("sheet.css", "order_sheet.css"))
    )


def _joint(joint: JointBlank) -> "Markup":
    from markupsafe import Markup

    return Markup(joint_svg(joint.fasteners, joint.title))  # escaped where it is made
