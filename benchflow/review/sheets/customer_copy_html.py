"""Writes the customer's copy of the build sheet as one self-contained HTML page, for one or two sheets of paper."""

from collections.abc import Mapping

from benchflow.base.plaintext import clean
from benchflow.review.sheets.build_sheet_html import joint_picture, page_margins
from benchflow.review.sheets.customer_copy import CustomerCopy
from benchflow.review.sheets.html_pages import style, template


def customer_copy_html(copy: CustomerCopy, links: Mapping[int, str] | None = None) -> str:
    """The page. Text from the log, the procedure and the register is escaped and cleaned of control characters.

    ``links`` are the links to the whole pictures, by event.
    """
    page = template("customer_copy.html.j2").render(
        copy=copy,
        fingerprint=[copy.head[start : start + 8] for start in range(0, len(copy.head), 8)],
        picture=joint_picture,
        links=links or {},
        style=style("sheet.css", "customer_copy.css") + page_margins(copy.letterhead.name, copy.title, copy.unit),
    )
    return clean(page)
