"""The screens of a review. They show the results of :mod:`benchflow.review` and change nothing."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchflow.review.evidence.assessment import Review
    from benchflow.review.evidence.shop_history import ShopHistory
    from benchflow.review.log.loaded_log import LoadedLog
    from benchflow.review.many.comparison import Comparison
    from benchflow.session.shop.register import Shop
    from benchflow.session.state.come_back_events import FirstAnswers
    from benchflow.tui.review.review_case import Recorder


def show_review(
    log: "LoadedLog",
    shop: "Shop | None",
    asked: "Review | None",
    history: "ShopHistory | None",
    recorder: "Recorder",
    answers: "FirstAnswers",
) -> int:
    """Show the review of one job until the user leaves it. Return the exit status.

    ``asked`` is the result to show first. If it is ``None``, the user chooses a complaint. ``shop`` has the people and
    the instruments of the shop, ``history`` its other builds. ``recorder`` adds a complaint or a finding to the log.
    ``answers`` are the answers to the first questions so far.
    """
    from benchflow.tui.review.complaint_page import ComplaintPage
    from benchflow.tui.review.review_case import ReviewCase  # imported late, because it imports Textual
    from benchflow.tui.review.review_screens import show

    return show(ComplaintPage(ReviewCase(log, shop, history, recorder, answers), asked))


def show_comparison(left: "LoadedLog", right: "LoadedLog", comparison: "Comparison") -> int:
    """Show two builds side by side until the user leaves them. Return the exit status."""
    from benchflow.tui.review.comparison_page import ComparisonPage
    from benchflow.tui.review.review_case import ReviewCase
    from benchflow.tui.review.review_screens import show

    return show(ComparisonPage(ReviewCase(left, None), ReviewCase(right, None), comparison))
