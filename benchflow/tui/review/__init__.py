"""The screens for the day it comes back. They show what :mod:`benchflow.review` has found, and change nothing."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchflow.review.evidence.assessment import Review
    from benchflow.review.log.loaded_log import LoadedLog
    from benchflow.review.many.comparison import Comparison
    from benchflow.session.shop.register import Shop


def show_review(log: "LoadedLog", shop: "Shop | None", asked: "Review | None") -> int:
    """The comeback review of one session, until it is left; returns the exit status. With ``asked`` it begins at its
    suspects, else with the choice of a complaint. ``shop`` is the register by which instruments are doubted."""
    from benchflow.tui.review.complaint_page import ComplaintPage
    from benchflow.tui.review.review_case import ReviewCase  # late: brings in Textual
    from benchflow.tui.review.review_screens import show

    return show(ComplaintPage(ReviewCase(log, shop), asked))


def show_comparison(left: "LoadedLog", right: "LoadedLog", found: "Comparison") -> int:
    """Two builds side by side, until it is left; returns the exit status."""
    from benchflow.tui.review.comparison_page import ComparisonPage
    from benchflow.tui.review.review_case import ReviewCase
    from benchflow.tui.review.review_screens import show

    return show(ComparisonPage(ReviewCase(left, None), ReviewCase(right, None), found))
