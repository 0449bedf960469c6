"""Finds the shop's other builds for a review: the archive that an option names, else the one of this machine."""

from typing import TYPE_CHECKING

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_warning

if TYPE_CHECKING:
    from benchflow.review.evidence.shop_history import ShopHistory


def shop_history(url: str | None) -> "ShopHistory | None":
    """The history in the archive at ``url``. Without ``url``: in the archive of this machine, ``None`` if it has none.

    An archive of this machine that cannot be used gives a warning.

    Raises:
        BenchflowError: the archive at ``url`` cannot be used.
    """
    from benchflow.session.machine_folders import machine_folders

    if url is not None:
        from benchflow.review.archive.archived_history import history_on_server

        return history_on_server(url)
    own = machine_folders().archive
    if not own.is_file():
        return None
    from benchflow.review.archive.archived_history import history_in_file

    try:
        return history_in_file(own)
    except BenchflowError as error:
        print_warning(f"{error} The shop's other builds are left out.")
        return None
