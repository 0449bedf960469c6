"""Which files are pictures: their kind by content, their size, and whether they are whole."""

import hashlib
import os
import socket
from contextlib import suppress
from pathlib import Path

import pytest
from PIL import Image, PngImagePlugin

from benchflow.session.pictures import heic_reader
from benchflow.session.pictures.picture_file import PictureRefused, UnfinishedPicture, no_thumbnail, read_picture
from tests.driving.made_pictures import PDF, VIDEO_HEAD, halves, heic, jpeg, png_header, written


def _refusal(path: Path) -> str:
    with pytest.raises(PictureRefused) as error:
        read_picture(path)
    return str(error.value)


def test_facts_of_a_jpeg_are_those_of_the_file(tmp_path: Path) -> None:
    content = jpeg(64, 48)
    (tmp_path / "IMG_0012.JPG").write_bytes(content)
    picture = read_picture(tmp_path / "IMG_0012.JPG")
    facts = picture.facts
    assert (facts.name, facts.size, facts.type) == ("IMG_0012.JPG", len(content), "image/jpeg")
    assert (facts.width, facts.height) == (64, 48)
    assert facts.sha256 == hashlib.sha256(content).hexdigest()
    assert picture.content == content
    assert not no_thumbnail(picture.facts)


@pytest.mark.parametrize(
    ("kind", "type_"),
    [("PNG", "image/png"), ("WEBP", "image/webp"), ("GIF", "image/gif"), ("TIFF", "image/tiff"), ("MPO", "image/jpeg")],
)
def test_kind_is_that_of_the_content_whatever_the_name(tmp_path: Path, kind: str, type_: str) -> None:
    (tmp_path / "picture.txt").write_bytes(written(halves(20, 10), kind))
    facts = read_picture(tmp_path / "picture.txt").facts
    assert (facts.type, facts.width, facts.height) == (type_, 20, 10)


def test_a_moving_gif_is_a_picture(tmp_path: Path) -> None:
    frames = [halves(20, 10), Image.new("RGB", (20, 10))]
    (tmp_path / "a.gif").write_bytes(written(frames[0], "GIF", save_all=True, append_images=frames[1:]))
    assert read_picture(tmp_path / "a.gif").facts.type == "image/gif"


def test_a_pdf_has_no_pixel_size_and_no_thumbnail(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(PDF)
    picture = read_picture(tmp_path / "file")
    assert (picture.facts.type, picture.facts.width, picture.facts.height) == ("application/pdf", 0, 0)
    assert "no small picture" in no_thumbnail(picture.facts)


def test_a_heic_is_a_picture_with_a_thumbnail(tmp_path: Path) -> None:
    (tmp_path / "IMG_0012.HEIC").write_bytes(heic(64, 48))
    facts = read_picture(tmp_path / "IMG_0012.HEIC").facts
    assert (facts.type, facts.width, facts.height) == ("image/heic", 64, 48)
    assert not no_thumbnail(facts)


def test_a_heic_that_cannot_be_read_is_refused_with_what_to_do(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    content = heic(64, 48)
    data = content.index(b"mdat") + 4
    (tmp_path / "a.heic").write_bytes(content[:data] + bytes(len(content) - data))
    assert "cannot be read: it is damaged, or of a rare kind. Send it again, or send it as JPEG" in _refusal(
        tmp_path / "a.heic"
    )
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("end", ["os.kill(os.getpid(), signal.SIGSEGV)", "os._exit(1)", "pass"])
def test_a_heic_that_ends_its_reader_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, end: str) -> None:
    program = tmp_path / "reader.py"
    program.write_text(f"import os, signal, sys\nsys.stdin.buffer.read()\n{end}\n")
    monkeypatch.setattr(heic_reader, "_PROGRAM", program)
    (tmp_path / "a.heic").write_bytes(heic(64, 48))
    assert "cannot be read" in _refusal(tmp_path / "a.heic")


def test_without_the_library_a_heic_is_kept_if_it_is_not_cut_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program = tmp_path / "reader.py"
    program.write_text("import sys; sys.exit(3)\n")
    monkeypatch.setattr(heic_reader, "_PROGRAM", program)
    (tmp_path / "a.heic").write_bytes(heic(64, 48))
    facts = read_picture(tmp_path / "a.heic").facts
    assert (facts.type, facts.width) == ("image/heic", 0)


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"only a text", "contains a text"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "an SVG drawing"),
        (b"<?xml version='1.0'?>\n<svg xmlns='http://www.w3.org/2000/svg'/>", "an SVG drawing"),
        (VIDEO_HEAD, "a video"),
        (b"PK\x03\x04" + bytes(40), "a ZIP file"),
        (bytes(range(256)), "an unknown kind"),
    ],
)
def test_other_content_is_refused_by_what_it_is(tmp_path: Path, content: bytes, what: str) -> None:
    (tmp_path / "IMG.jpg").write_bytes(content)
    message = _refusal(tmp_path / "IMG.jpg")
    assert what in message
    assert "JPEG, PNG" in message


def test_an_empty_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "IMG.jpg").touch()
    assert "0 bytes" in _refusal(tmp_path / "IMG.jpg")


def _moving(kind: str) -> bytes:
    frames = [Image.effect_noise((60, 40), 90).convert("RGB") for _ in range(3)]
    return written(frames[0], kind, save_all=True, append_images=frames[1:])


_NOISE = Image.effect_noise((60, 40), 90).convert("RGB")
WHOLE = {
    **{kind: written(_NOISE, kind) for kind in ("JPEG", "PNG", "WEBP", "GIF", "TIFF", "AVIF")},
    "progressive JPEG": written(_NOISE, "JPEG", progressive=True),
    "moving GIF": _moving("GIF"),
    "moving WebP": _moving("WEBP"),
    "PDF": PDF,
}


@pytest.mark.parametrize("kind", WHOLE)
def test_a_file_that_ends_too_early_is_refused_wherever_it_was_cut_off(tmp_path: Path, kind: str) -> None:
    content, path = WHOLE[kind], tmp_path / "IMG"
    path.write_bytes(content)
    read_picture(path)
    line_end = 1 if kind == "PDF" else 0  # the last character of a PDF is not needed
    lengths = {
        1,
        16,
        *range(20, len(content) - 20, len(content) // 12),
        *range(len(content) - 16, len(content) - line_end),
    }
    for length in lengths:
        path.write_bytes(content[:length])
        with pytest.raises(PictureRefused):
            read_picture(path)


def test_a_heic_that_ends_too_early_is_refused_wherever_it_was_cut_off(tmp_path: Path) -> None:
    content, path = heic(64, 48), tmp_path / "IMG"
    for length in (*range(32, len(content), 40), len(content) - 1):
        path.write_bytes(content[:length])
        with pytest.raises(UnfinishedPicture, match="Wait until it is complete, or send or copy it again"):
            read_picture(path)


def test_bytes_after_a_whole_picture_are_kept(tmp_path: Path) -> None:
    for number, content in enumerate([*WHOLE.values(), heic()]):
        (tmp_path / str(number)).write_bytes(content + b"\0\0\0\0")
        assert read_picture(tmp_path / str(number)).facts.size == len(content) + 4


def test_a_text_that_begins_like_a_pdf_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.pdf").write_bytes(b"%PDF-1.4<html><script>alert(1)</script></html>")
    assert "ends in the middle of the document" in _refusal(tmp_path / "a.pdf")


def test_too_many_pixels_are_refused_by_the_header_alone(tmp_path: Path) -> None:
    (tmp_path / "IMG.png").write_bytes(png_header(20_000, 10_000))
    message = _refusal(tmp_path / "IMG.png")
    assert "20000 × 10000 pixels, 200 million" in message
    assert "The limit is 120 million" in message


def test_a_large_png_is_kept_without_a_thumbnail(tmp_path: Path) -> None:
    (tmp_path / "IMG.png").write_bytes(png_header(10_000, 9_000))
    assert "too large for a small picture" in no_thumbnail(read_picture(tmp_path / "IMG.png").facts)


def test_a_file_above_the_limit_is_not_read(tmp_path: Path) -> None:
    with (tmp_path / "IMG.jpg").open("wb") as file:
        file.truncate(300_000_000)
    assert "300 MB. The limit is 64 MB" in _refusal(tmp_path / "IMG.jpg")


def test_a_folder_a_pipe_a_socket_a_device_and_a_link_are_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "real.jpg").write_bytes(jpeg())
    (tmp_path / "link.jpg").symlink_to(tmp_path / "real.jpg")
    with socket.socket(socket.AF_UNIX) as listener:
        os.chdir(tmp_path)  # the name of a socket is short
        listener.bind("socket")
        assert "socket" in _refusal(tmp_path / "socket")
    assert "is a folder" in _refusal(tmp_path)
    assert "a pipe or a device" in _refusal(tmp_path / "pipe")
    assert "a pipe or a device" in _refusal(Path("/dev/zero"))
    assert f"is a link to {tmp_path / 'real.jpg'}" in _refusal(tmp_path / "link.jpg")


def test_a_missing_file_and_impossible_names_are_refused(tmp_path: Path) -> None:
    assert "There is no file" in _refusal(tmp_path / "IMG.jpg")
    assert "too long" in _refusal(tmp_path / ("a" * 300))
    assert "not the name of a file" in _refusal(tmp_path / "a\0b")


def test_control_characters_in_a_name_are_not_kept(tmp_path: Path) -> None:
    path = tmp_path / "a\x1b[2Jb\nc\u202egpj.jpg"
    path.write_bytes(jpeg())
    name = read_picture(path).facts.name
    assert name == "a\\x1b[2Jb\\nc\\u202egpj.jpg"


def test_a_name_of_255_bytes_and_one_that_is_not_utf_8_can_be_attached(tmp_path: Path) -> None:
    long = tmp_path / ("ä" * 125 + "x.jpg")
    long.write_bytes(jpeg())
    assert read_picture(long).facts.name == long.name
    odd = os.fsencode(tmp_path) + b"/\xff.jpg"
    with open(odd, "wb") as file:
        file.write(jpeg())
    assert read_picture(Path(os.fsdecode(odd))).facts.name == "\\xff.jpg"


def test_a_png_with_control_sequences_in_a_text_is_a_picture(tmp_path: Path) -> None:
    texts = PngImagePlugin.PngInfo()
    texts.add_text("Title", "\x1b[2J\x1b]0;owned\x07")
    (tmp_path / "a.png").write_bytes(written(halves(8, 8), "PNG", pnginfo=texts))
    assert "\x1b" not in str(read_picture(tmp_path / "a.png").facts)


def test_a_file_with_another_size_than_its_content_is_still_being_written() -> None:
    with pytest.raises(UnfinishedPicture, match="still being written"):
        read_picture(Path("/proc/self/status"))  # its size is 0 until it is read


def test_a_damaged_tiff_writes_nothing_to_the_terminal(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    noise = Image.effect_noise((60, 40), 90).convert("RGB")
    content = written(noise, "TIFF", compression="tiff_lzw")
    for at in range(8, len(content), 97):
        changed = bytearray(content)
        changed[at] ^= 0xFF
        (tmp_path / "a.tif").write_bytes(changed)
        with suppress(PictureRefused):
            assert "no small picture of a TIFF" in no_thumbnail(read_picture(tmp_path / "a.tif").facts)
    assert capfd.readouterr() == ("", "")
