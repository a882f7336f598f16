"""What comes in is what it claims, small enough, and says nothing its sender did not mean to say."""

from __future__ import annotations

import io
import resource
import time

import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from shop.documents.uploads import inspect
from shop.kernel.errors import BadInput
from tests.documents import hostile


@pytest.mark.parametrize("case", hostile.REFUSED)
def test_hostile_files_are_refused_with_what_to_do(case):
    name, content, code = hostile.REFUSED[case]
    with pytest.raises(BadInput) as caught:
        inspect(name, content)
    assert caught.value.code == code
    assert list(caught.value.fields) == ["file"]
    assert caught.value.message[-1] == "."


def test_a_claim_of_huge_size_costs_no_memory_and_no_time():
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    started = time.perf_counter()
    for content in (hostile.huge_png(), hostile.huge_jpeg(), hostile.huge_webp()):
        with pytest.raises(BadInput, match="pixels"):
            inspect("photo.png", content)
    assert time.perf_counter() - started < 5
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000  # kilobytes


@pytest.mark.parametrize(
    ("kind", "media_type", "extension"),
    [("JPEG", "image/jpeg", "jpg"), ("PNG", "image/png", "png"), ("WEBP", "image/webp", "webp")],
)
def test_pictures_are_written_anew_with_a_small_one(kind, media_type, extension):
    content = hostile.picture(kind, (3000, 2000))
    kept = inspect("C:\\photos\\bore 1.JPG", content)
    assert (kept.media_type, kept.extension) == (media_type, extension)
    assert kept.original_name == "bore 1.JPG"
    assert (kept.width, kept.height) == (3000, 2000)
    with Image.open(io.BytesIO(kept.data)) as image:
        assert image.format == kind
        assert image.getpixel((2500, 1000))[0] > 200 > 60 > image.getpixel((500, 1000))[0]
    with Image.open(io.BytesIO(kept.thumbnail)) as small:
        assert small.format == "JPEG"
        assert small.width <= 480
        assert small.height <= 360


def test_words_written_into_a_png_are_gone():
    words = PngInfo()
    words.add_text("Comment", "where I live")
    content = hostile.picture("PNG", pnginfo=words)
    assert b"where I live" in content
    assert b"where I live" not in inspect("scan.png", content).data


def test_position_camera_and_comment_are_gone_and_the_picture_stands_upright():
    content = hostile.with_position(orientation=6)
    assert b"Invented Camera" in content
    kept = inspect("photo.jpg", content)
    assert (kept.width, kept.height) == (480, 640)
    for data in (kept.data, kept.thumbnail):
        assert b"Invented Camera" not in data
        assert b"secret comment" not in data
        assert b"Exif" not in data
        with Image.open(io.BytesIO(data)) as image:
            assert not image.getexif()
            # turned a quarter clockwise: what was left is now on top
            assert image.getpixel((image.width // 2, 10))[0] < 60
            assert image.getpixel((image.width // 2, image.height - 10))[0] > 200


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_is_applied(orientation):
    kept = inspect("photo.jpg", hostile.with_position(orientation=orientation))
    dark = {1: "left", 2: "right", 3: "right", 4: "left", 5: "top", 6: "top", 7: "bottom", 8: "bottom"}[orientation]
    with Image.open(io.BytesIO(kept.data)) as image:
        at = {"left": (5, 240), "right": (image.width - 5, 240), "top": (240, 5), "bottom": (240, image.height - 5)}
        assert image.getpixel(at[dark])[0] < 60


@pytest.mark.parametrize("extra", [b"\x00" * 4000, b"RIFF....AVI moving picture of the same moment" * 50])
def test_what_phones_append_is_dropped(extra):
    kept = inspect("photo.jpg", hostile.picture() + extra)
    assert extra not in kept.data


def test_large_photos_are_scaled_and_clear_pictures_keep_their_transparency():
    kept = inspect("photo.jpg", hostile.picture(size=(8000, 6000)))
    assert max(kept.width, kept.height) == 4096
    out = io.BytesIO()
    Image.new("RGBA", (50, 50), (10, 20, 30, 0)).save(out, "PNG")
    with Image.open(io.BytesIO(inspect("sign.png", out.getvalue()).data)) as image:
        assert image.getpixel((5, 5))[3] == 0


@pytest.mark.parametrize("mode", ["1", "L", "P", "CMYK", "I;16"])
def test_unusual_kinds_of_pixels_are_readable(mode):
    out = io.BytesIO()
    Image.new(mode, (40, 30)).save(out, "JPEG" if mode == "CMYK" else "PNG")
    kept = inspect("scan.png", out.getvalue())
    assert (kept.width, kept.height) == (40, 30)


def test_papers_and_plain_text_are_kept_as_they_came():
    for name, content, media_type in (
        ("delivery note.pdf", hostile.PDF, "application/pdf"),
        ("readings.csv", "\ufeffBohrung;Maß\n1;86,03\n".encode(), "text/csv"),
        ("note.TXT", b"torque in 3 passes, 5 < 6 and a<b\r\n", "text/plain"),
    ):
        kept = inspect(name, content)
        assert kept.media_type == media_type
        assert kept.data == content
        assert kept.thumbnail is None


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../etc/passwd.txt", "passwd.txt"),
        ("a\x00b\u202egnp.txt", "abgnp.txt"),
        ("x" * 400 + ".txt", "x" * 100 + "…" + "x" * 46 + ".txt"),
        ("..\\..\\boot.txt", "boot.txt"),
    ],
)
def test_names_are_only_shown_and_made_plain(name, shown):
    assert inspect(name, b"hello").original_name == shown
