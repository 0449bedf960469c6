"""Thumbnails: upright, small, without any data of the original but its pixels."""

from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from benchflow.session.pictures.picture_file import read_picture
from benchflow.session.pictures.thumbnails import thumbnail, thumbnail_uri
from tests.driving.made_pictures import LEFT, PDF, RIGHT, halves, heic, jpeg, rotated_jpeg, written


def _small(path: Path, content: bytes, box: int = 320) -> Image.Image:
    path.write_bytes(content)
    small = thumbnail(path, read_picture(path).facts, box)
    assert small is not None
    return Image.open(BytesIO(small))


def _near(colour: object, expected: tuple[int, int, int]) -> bool:
    assert isinstance(colour, tuple)
    return all(abs(a - b) < 40 for a, b in zip(colour, expected, strict=True))


def test_a_thumbnail_fits_its_box_and_keeps_the_proportions(tmp_path: Path) -> None:
    assert _small(tmp_path / "a.jpg", jpeg(1600, 1200)).size == (320, 240)
    assert _small(tmp_path / "b.jpg", jpeg(60, 40)).size == (60, 40)


# Orientation: 6 is turned by 90° clockwise, 8 by 90° anticlockwise, 3 by 180° (Exif 3.0, 4.6.5, from memory).
@pytest.mark.parametrize(
    ("orientation", "size", "red"),
    [(1, (64, 48), (5, 24)), (3, (64, 48), (58, 24)), (6, (48, 64), (24, 5)), (8, (48, 64), (24, 58))],
)
def test_a_thumbnail_is_upright(tmp_path: Path, orientation: int, size: tuple[int, int], red: tuple[int, int]) -> None:
    small = _small(tmp_path / "a.jpg", rotated_jpeg(orientation))
    assert small.size == size
    assert _near(small.getpixel(red), LEFT)
    assert _near(small.getpixel((size[0] - 1 - red[0], size[1] - 1 - red[1])), RIGHT)


# The library turns a HEIC itself, and says so in the orientation that it returns.
@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_thumbnail_of_a_heic_is_upright_and_has_no_position(tmp_path: Path, orientation: int) -> None:
    small = _small(tmp_path / "a.heic", heic(orientation=orientation))
    size, red = {1: ((64, 48), (5, 24)), 3: ((64, 48), (58, 24)), 6: ((48, 64), (24, 5)), 8: ((48, 64), (24, 58))}[
        orientation
    ]
    assert small.size == size
    assert _near(small.getpixel(red), LEFT)
    assert not dict(small.getexif())
    assert "exif" not in small.info


def test_a_thumbnail_has_no_data_but_pixels(tmp_path: Path) -> None:
    small = _small(tmp_path / "a.jpg", rotated_jpeg(6))
    commented = _small(tmp_path / "b.jpg", jpeg(shade=7))
    for one in (small, commented):
        assert not dict(one.getexif())
        assert not {"exif", "comment", "icc_profile", "photoshop", "xmp"} & set(one.info)
    path = tmp_path / "a.jpg"
    found = thumbnail(path, read_picture(path).facts)
    assert found is not None
    assert b"Robin" not in found


@pytest.mark.parametrize("mode", ["RGBA", "LA", "P", "1", "I;16", "CMYK", "L"])
def test_every_kind_of_pixels_has_a_thumbnail(tmp_path: Path, mode: str) -> None:
    picture = Image.new("I;16", (20, 10), 300) if mode == "I;16" else halves(20, 10).convert(mode)
    small = _small(tmp_path / "a", written(picture, "JPEG" if mode == "CMYK" else "PNG"))
    assert (small.mode, small.size) == ("RGB", (20, 10))


def test_transparent_pixels_are_white(tmp_path: Path) -> None:
    small = _small(tmp_path / "a.png", written(Image.new("RGBA", (20, 10)), "PNG"))
    assert _near(small.getpixel((5, 5)), (255, 255, 255))


def test_a_file_without_a_thumbnail_has_an_empty_uri(tmp_path: Path) -> None:
    path = tmp_path / "a.pdf"
    path.write_bytes(PDF)
    assert thumbnail_uri(path, read_picture(path).facts) == ""


def test_a_missing_or_changed_file_has_no_thumbnail(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(jpeg())
    facts = read_picture(path).facts
    assert thumbnail_uri(path, facts).startswith("data:image/jpeg;base64,")
    path.write_bytes(b"text")
    assert thumbnail(path, facts) is None
    path.unlink()
    assert thumbnail(path, facts) is None
