"""The screens for the day it comes back. They show what :mod:`benchflow.review` has found, and change nothing."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchflow.review.account import Account
    from benchflow.review.compare import Comparison
    from benchflow.review.evidence import Review
    from benchflow.session.shop import Shop


def show_review(account: "Account", shop: "Shop | None", asked: "Review | None") -> int:
    """The comeback review of one session, until it is left; returns the exit status. With ``asked`` it begins at its
    suspects, else with the choice of a complaint. ``shop`` is the register by which instruments are doubted."""
    from benchflow.tui.review.case import Case  # late: brings in Textual
    from benchflow.tui.review.complaints import ComplaintsPage
    from benchflow.tui.review.showing import show

    return show(ComplaintsPage(Case(account, shop), asked))


def show_comparison(left: "Account", right: "Account", found: "Comparison") -> int:
    """Two builds side by side, until it is left; returns the exit status."""
    from benchflow.tui.review.case import Case
    from benchflow.tui.review.showing import show
    from benchflow.tui.review.side_by_side import ComparePage

    return show(ComparePage(Case(left, None), Case(right, None), found))
