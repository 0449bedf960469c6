"""Pictures in the review: on both sheets, as evidence of a step, in the export and in the archive.

Names and figures are invented.
"""

import base64
import csv
import json
import re
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from benchflow.review.evidence.recorded_evidence import evidence_of
from benchflow.review.log.loaded_log import LoadedLog, load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_html import build_sheet_html
from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown, customer_copy_markdown
from benchflow.review.sheets.customer_copy import customer_copy
from benchflow.review.sheets.customer_copy_html import customer_copy_html
from benchflow.review.sheets.pictures_on_sheet import MOST_FOR_CUSTOMER, copy_name
from benchflow.session.history.event_text import event_text
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.pictures.picture_file import PictureFacts
from benchflow.session.pictures.stored_pictures import pictures_folder, stored_path
from benchflow.session.state.events import event_of
from tests.driving.made_pictures import PDF, heic, jpeg, rotated_jpeg
from tests.driving.script import Script, intent, open_intent, procedure_with, read_procedure
from tests.test_cli import Shell

TIGHTEN = "{id: tighten, title: Tighten the studs, tighten: {joint: studs, stages: [20 N·m]}}"
HEAD = 'joints:\n  studs: {title: Head studs, layout: "3 1 2 4"}\n'


@pytest.fixture
def script(tmp_path: Path) -> Script:
    script = Script(tmp_path, procedure_with(TIGHTEN, head=HEAD))
    script.do_all(open_intent(), intent("start", operation="tighten"))
    return script


def attach(script: Script, name: str, content: bytes, /, **fields: object) -> PictureFacts:
    path = script.path.with_name(name)
    path.write_bytes(content)
    data = script.do("attach", file=str(path), **fields)[-1]["data"]
    return PictureFacts(name, data["sha256"], data["size"], data["type"])


def loaded(script: Script) -> LoadedLog:
    return load_log(script.path, read_procedure)


def pages(log: LoadedLog) -> tuple[str, str]:
    """The shop's copy and the customer's copy."""
    made = build_sheet(log)
    return build_sheet_html(made), customer_copy_html(customer_copy(log, made))


def test_both_sheets_show_a_small_upright_picture_without_personal_data(script: Script) -> None:
    attach(script, "a.jpg", rotated_jpeg(6, 800, 600), joint="studs", fastener=3, text="Thread <b>")
    for page in pages(loaded(script)):
        (uri,) = re.findall(r'src="data:image/jpeg;base64,([^"]+)"', page)
        small = Image.open(BytesIO(base64.b64decode(uri)))
        assert small.size == (240, 320)
        assert not dict(small.getexif())
        assert "Head studs, fastener 3" in page
        assert "Thread &lt;b&gt;" in page
        assert "img-src data:" in page


def test_a_missing_a_changed_and_a_pdf_file_are_named_and_not_shown(script: Script) -> None:
    missing, changed = (attach(script, f"{n}.jpg", jpeg(shade=n)) for n in (1, 2))
    attach(script, "page.pdf", PDF)
    stored_path(script.path, missing.sha256, missing.type).unlink()
    stored_path(script.path, changed.sha256, changed.type).write_bytes(jpeg(shade=9))
    shop, customer = pages(loaded(script))
    for text in ("The stored file is missing.", "The stored file was changed.", "no small picture of a PDF"):
        assert text in shop
        assert text in customer
    assert "data:image/jpeg" not in shop


def test_a_heic_of_a_phone_is_shown_small(script: Script) -> None:
    attach(script, "IMG_0012.HEIC", heic(), text="Thread")
    for page in pages(loaded(script)):
        assert page.count('src="data:image/jpeg;base64,') == 1


def test_a_withdrawn_picture_is_on_no_sheet_and_no_evidence(script: Script) -> None:
    attach(script, "a.jpg", jpeg(), text="wrong engine")
    script.do("withdraw", event=script.log()[-1]["seq"], reason="wrong engine")
    log = loaded(script)
    assert all("wrong engine" not in page for page in pages(log))
    assert not [each for each in evidence_of(log, log.plan.steps["tighten"]) if each.kind == "picture"]


def test_the_customers_copy_has_only_the_first_pictures(script: Script) -> None:
    for number in range(MOST_FOR_CUSTOMER + 2):
        attach(script, f"{number}.jpg", jpeg(shade=number))
    shop, customer = pages(loaded(script))
    assert shop.count("<figure>") == MOST_FOR_CUSTOMER + 2
    assert customer.count("<figure>") == MOST_FOR_CUSTOMER
    assert "2 more pictures" in customer


def test_a_picture_is_evidence_of_its_step_and_in_the_markdown(script: Script) -> None:
    facts = attach(script, "a.jpg", jpeg(), joint="studs", fastener=3, text="Thread before cleaning")
    log = loaded(script)
    words = [each.words for each in evidence_of(log, log.plan.steps["tighten"]) if each.kind == "picture"]
    assert words[0].startswith("picture of Head studs, fastener 3: Thread before cleaning (a.jpg, Robin, ")
    (kept,) = pictures_folder(script.path).iterdir()
    kept.rename(kept.with_suffix(".away"))
    words = [each.words for each in evidence_of(log, log.plan.steps["tighten"]) if each.kind == "picture"]
    assert words[0].endswith("; its file is not beside this log, run benchflow verify)")
    kept.with_suffix(".away").rename(kept)
    made = build_sheet(log)
    assert facts.sha256 in build_sheet_markdown(made)
    assert "Thread before cleaning" in customer_copy_markdown(customer_copy(log, made))


def test_log_evidence_and_sheets_name_what_a_picture_shows_in_the_same_words(tmp_path: Path) -> None:
    measure = "{id: measure, title: Measure, record: {bore: {ask: Bore of the pump, limit: 1 .. 2 mm, readings: 2}}}"
    script = Script(tmp_path, procedure_with(measure))
    script.do_all(open_intent(), intent("start", operation="measure"))
    note = script.do("note", text="A score at the top")[-1]["seq"]
    attach(script, "a.jpg", jpeg(shade=1), name="bore", reading=2)
    attach(script, "b.jpg", jpeg(shade=2), event=note)
    attach(script, "c.jpg", jpeg(shade=3))
    log = loaded(script)
    titles = [one.title for one in build_sheet(log).pictures]
    assert titles == ["Bore of the pump, reading 2", "Note: A score at the top", "Measure"]
    words = [each.words for each in evidence_of(log, log.plan.steps["measure"]) if each.kind == "picture"]
    subjects = [text.removeprefix("picture of ").partition(" (")[0] for text in words]
    assert subjects == ["Bore of the pump, reading 2", "the note “A score at the top”", "“Measure”"]
    texts = [event_text(event, LogTitles(log.plan)) for line in log.lines if (event := event_of(line)) is not None]
    assert [text.partition(" attached")[0] for text in texts if "attached" in text] == [
        "Picture of Bore of the pump, reading 2", f"Picture of event {note}", "Picture of “Measure”",
    ]  # fmt: skip


def test_sheet_copies_the_whole_pictures_and_leads_to_them(script: Script, tmp_path: Path) -> None:
    facts = attach(script, "a b.jpg", jpeg(shade=5))
    shell = Shell(tmp_path)
    code, _, errors = shell.run("sheet", "log.jsonl", "-o", "out.html", "--pictures", "whole")
    assert (code, errors) == (0, "")
    (copy,) = (tmp_path / "whole").iterdir()
    assert copy.read_bytes() == jpeg(shade=5)
    assert f'href="whole/{copy.name}"' in (tmp_path / "out.html").read_text()
    copy.write_text("mine")
    code, _, errors = shell.run("sheet", "log.jsonl", "-o", "out.html", "--pictures", "whole")
    assert (code, copy.read_text()) == (2, "mine")
    assert "exists and differs" in errors
    code, _, _ = shell.run("sheet", "log.jsonl", "--copy", "shop")
    assert f'href="log.jsonl.pictures/{facts.sha256}.jpg"' in (tmp_path / "log.shop.html").read_text()


def test_export_lists_the_pictures_and_copies_them(script: Script, tmp_path: Path) -> None:
    here, gone = (attach(script, f"{n}.jpg", jpeg(shade=n), text="=1+1") for n in (1, 2))
    stored_path(script.path, gone.sha256, gone.type).unlink()
    code, output, errors = Shell(tmp_path).run("export", "log.jsonl", "--as", "jsonl", "--pictures", "out")
    rows = [json.loads(line) for line in output.splitlines()]
    assert here.sha256 in next(json.dumps(row) for row in rows if row["kind"] == "attached")
    assert code == 1
    assert "2.jpg) was not copied. The stored file is missing." in errors
    with (tmp_path / "out" / "log" / "pictures.csv").open(newline="") as file:
        first, second = csv.DictReader(file)
    assert (tmp_path / "out" / "log" / first["file"]).read_bytes() == jpeg(shade=1)
    assert (first["sha256"], first["text"], second["file"]) == (here.sha256, "'=1+1", "")


@pytest.mark.parametrize(
    ("name", "copy"),
    [
        ("IMG_0040.JPG", "0012-IMG_0040.jpg"),
        ("../../etc/passwd", "0012-passwd.jpg"),
        ("..", "0012-picture.jpg"),
        ('a"<b> \\x1b.jpg', "0012-a_b_x1b.jpg"),
        ("ä" * 200, "0012-picture.jpg"),
    ],
)
def test_the_name_of_a_copy_is_harmless(name: str, copy: str) -> None:
    assert copy_name(12, PictureFacts(name, "0" * 64, 1, "image/jpeg")) == copy
