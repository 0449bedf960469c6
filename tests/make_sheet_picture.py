"""Make the picture of the customer's copy of a build sheet for the README.

    python -m tests.make_sheet_picture OUT.png

A head installation with a few faults is simulated. Headless Chromium takes the picture of the sheet, with an invented
letterhead.
"""

import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.customer_copy import customer_copy
from benchflow.review.sheets.customer_copy_html import customer_copy_html
from benchflow.review.sheets.letterhead import LetterheadOnSheet
from tests.driving.simulated_builder import Faults
from tests.review.played_builds import FLOAT, loaded_build

WIDTH, HEIGHT = 800, 1480
LETTERHEAD = LetterheadOnSheet(
    "The bench by the window", ("12 Quay Road", "Smalltown"), "01234 567890", "bench@example.org"
)


def main() -> int:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if len(sys.argv) != 2 or chromium is None:
        sys.stderr.write("python -m tests.make_sheet_picture OUT.png (needs chromium)\n")
        return 2
    faults = Faults(near_limit=FLOAT, self_signed="mark-nuts", late="set-head-down", reworked="fit-pulley")
    log = loaded_build(3, faults, with_tools=True)
    page = customer_copy_html(customer_copy(log, build_sheet(log), LETTERHEAD))
    with TemporaryDirectory() as folder:
        source = Path(folder) / "sheet.html"
        source.write_text(page, encoding="utf-8")
        command = [
            chromium, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run",
            "--host-resolver-rules=MAP * ~NOTFOUND", f"--user-data-dir={folder}/profile",
            f"--window-size={WIDTH},{HEIGHT}", f"--screenshot={Path(sys.argv[1]).resolve()}", source.as_uri(),
        ]  # fmt: skip
        return subprocess.run(command, capture_output=True, check=False, timeout=120).returncode


if __name__ == "__main__":
    sys.exit(main())
