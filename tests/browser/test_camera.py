"""The phone's camera as a scanner, in real Chromium against the served shop: codes in made pictures are read by the reader
beside the page; what stands in the way is said."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import Any

import barcode
import pytest
import segno
from barcode.writer import ImageWriter
from PIL import Image

from shop.ui import camera
from shop.ui.middleware import POLICY
from tests.factories.people import PASSWORD
from tests.factories.processes import Shop

from .chromium import chromium, program  # noqa: F401

CAMERA = Path(camera.__file__).parent / "static/ui/camera"
pytestmark = pytest.mark.browser
FAKE = ["--no-sandbox", "--use-fake-device-for-media-stream"]


def picture(kind: str, text: str) -> Image.Image:
    made = BytesIO()
    if kind == "qr":
        segno.make_qr(text, error="m").save(made, kind="png", scale=6, border=4)
    else:
        barcode.get(kind, text, writer=ImageWriter()).write(made, {"write_text": False, "module_height": 12.0})
    made.seek(0)
    return Image.open(made).convert("L")


def film(path: Path, shown: Image.Image | None) -> Path:
    """A grey camera picture, 1280 by 720, with the code in its middle."""
    frame = Image.new("L", (1280, 720), 190)
    if shown is not None:
        frame.paste(shown, ((1280 - shown.width) // 2, (720 - shown.height) // 2))
    with path.open("wb") as file:
        file.write(b"YUV4MPEG2 W1280 H720 F10:1 Ip A1:1 C420jpeg\n")
        for _ in range(3):
            file.write(b"FRAME\n" + frame.tobytes() + bytes([128]) * (1280 * 720 // 2))
    return path


@pytest.fixture(scope="module")
def shop(template_of_cast) -> Iterator[Shop]:
    with Shop.copy_of(template_of_cast) as made:
        made.serve()
        yield made


@contextmanager
def looking(chromium: Any, shop: Shop, path: str, *flags: str, allowed: bool = True, before: str = "") -> Iterator[Any]:  # noqa: F811
    """A page of the stores before a camera of its own."""
    browser = chromium.browser_type.launch(executable_path=program(), args=[*FAKE, *flags])
    context = browser.new_context(locale="en-GB", permissions=["camera"] if allowed else [])
    context.set_default_timeout(20_000)
    try:
        page = context.new_page()
        page.errors = []
        page.asked = []
        page.on("console", lambda m: page.errors.append(m.text) if m.type == "error" else None)
        page.on("request", lambda r: page.asked.append(r.url))
        page.goto(f"{shop.address}/sign-in/")
        page.fill("#id_username", "tamsin")
        page.fill("#id_password", PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.locator("#person").wait_for(state="attached")
        if before:
            page.add_init_script(before)
        page.goto(shop.address + path)
        yield page
    finally:
        browser.close()


def until(page: Any, true: str) -> None:
    """Ask the page until it is true; Playwright's own waiting evaluates text, which the policy forbids."""
    for _ in range(200):
        if page.evaluate(true):
            return
        page.wait_for_timeout(100)
    said = page.locator("#camera [role=status]").text_content()
    raise AssertionError(f"not within 20 s: {true}; the dialog says {said!r}, the console {page.errors}")


@pytest.mark.parametrize(
    ("kind", "text", "box"),
    [("ean13", "4006381333931", "part"), ("code128", "GKT-041", "part"), ("qr", "A3-02", "bin"), ("qr", "LOT-Ω 1", "part")],
)  # fmt: skip
def test_a_code_in_the_picture_goes_into_its_box(chromium, shop, tmp_path, kind, text, box):  # noqa: F811
    shown = film(tmp_path / "code.y4m", picture(kind, text))
    with looking(chromium, shop, "/stock/receive/", f"--use-file-for-fake-video-capture={shown}") as page:
        page.evaluate("addEventListener('scan', e => { window.heard = e.detail.code })")
        page.locator(f"#id_{box}_camera").click()
        until(page, "window.heard")
        assert page.evaluate("window.heard") == text
        assert page.input_value(f"#id_{box}") == text
        assert not page.locator("#camera").is_visible()
        assert page.evaluate("document.querySelector('#camera video').srcObject") is None, "the camera is given back"
        assert page.errors == []
        loaded = [url for url in page.asked if "/ui/camera/" in url]
        assert any("zxing_reader" in url for url in loaded)
        assert all(url.startswith(shop.address) for url in page.asked), "nothing from elsewhere"


def test_from_the_search_page_it_leads_where_a_scan_leads(chromium, shop, tmp_path):  # noqa: F811
    shown = film(tmp_path / "code.y4m", picture("code128", "GKT-041"))
    with looking(chromium, shop, "/find/", f"--use-file-for-fake-video-capture={shown}") as page:
        assert not [url for url in page.asked if "/ui/camera/" in url], "nothing is loaded before it is asked for"
        page.get_by_role("button", name="Scan with the camera").click()
        page.wait_for_url(re.compile(r"/parts/\d+/"))


def test_a_scan_of_goods_with_batch_and_expiry_is_understood(chromium, shop, tmp_path):  # noqa: F811
    """GS1-128 as on a package: what the camera says of it, the shop reads."""
    from datetime import date

    from shop.kernel.gs1 import parse

    shown = film(tmp_path / "code.y4m", picture("gs1_128", "01040063813339311727043010K7A"))
    with looking(chromium, shop, "/stock/receive/", f"--use-file-for-fake-video-capture={shown}") as page:
        page.evaluate("addEventListener('scan', e => { window.heard = e.detail.code })")
        page.locator("#id_part_camera").click()
        until(page, "window.heard")
        read = parse(page.evaluate("window.heard"), date(2026, 11, 25))
        assert (read.gtin, read.batch, read.expires_on) == ("04006381333931", "K7A", date(2027, 4, 30))


def test_the_browsers_own_reader_is_taken_where_there_is_one(chromium, shop, tmp_path):  # noqa: F811
    own = """window.BarcodeDetector = class {
        static async getSupportedFormats() { return ['qr_code', 'code_128', 'ean_13']; }
        async detect() { return [{rawValue: 'A3-02'}]; }
    }"""
    shown = film(tmp_path / "none.y4m", None)
    flag = f"--use-file-for-fake-video-capture={shown}"
    with looking(chromium, shop, "/stock/receive/", flag, before=own) as page:
        page.locator("#id_bin_camera").click()
        until(page, "document.querySelector('#id_bin').value == 'A3-02'")
        assert not [url for url in page.asked if "zxing" in url]


def test_closing_it_without_a_code_changes_nothing(chromium, shop, tmp_path):  # noqa: F811
    shown = film(tmp_path / "none.y4m", None)
    with looking(chromium, shop, "/stock/receive/", f"--use-file-for-fake-video-capture={shown}") as page:
        button = page.locator("#id_part_camera")
        button.click()
        page.get_by_text("Hold the code in front of the camera.").wait_for()
        page.keyboard.press("Escape")
        until(page, "document.querySelector('#camera video').srcObject === null")
        assert page.input_value("#id_part") == ""
        assert button.evaluate("b => b === document.activeElement"), "the focus is back where it was"


REFUSALS = {
    "The browser may not use the camera here.": (False, ""),
    "No camera was found on this device.": (
        True, "navigator.mediaDevices.getUserMedia = async () => { throw new DOMException('', 'NotFoundError') }",
    ),
    "Another program has the camera.": (
        True, "navigator.mediaDevices.getUserMedia = async () => { throw new DOMException('', 'NotReadableError') }",
    ),
    "The browser lends the camera to pages that come over https only.": (
        True, "Object.defineProperty(window, 'isSecureContext', {get: () => false})",
    ),
    "The camera’s reader does not work in this browser.": (True, "delete WebAssembly.instantiate; window.Worker = class { postMessage() { this.onerror() } terminate() {} }"),
}  # fmt: skip


@pytest.mark.parametrize("said", REFUSALS)
def test_what_stands_in_the_way_is_said(chromium, shop, tmp_path, said):  # noqa: F811
    allowed, before = REFUSALS[said]
    shown = film(tmp_path / "none.y4m", None)
    flag = f"--use-file-for-fake-video-capture={shown}"
    with looking(chromium, shop, "/stock/receive/", flag, allowed=allowed, before=before) as page:
        page.locator("#id_part_camera").click()
        page.get_by_text(said).wait_for()
        page.get_by_role("button", name="Close").click()
        assert not page.locator("#camera").is_visible()


def test_the_worker_alone_may_run_compiled_code(shop):
    import requests

    page = requests.get(f"{shop.address}/sign-in/", timeout=30)
    assert "wasm" not in page.headers["Content-Security-Policy"] + POLICY
    assert page.headers["Permissions-Policy"].startswith("camera=(self),")
    manifest = (shop.folder / "static/staticfiles.json").read_text()
    name = re.search(r'"ui/camera/worker.js": "([^"]+)"', manifest)
    other = re.search(r'"ui/camera/camera.js": "([^"]+)"', manifest)
    assert name, "no worker among the static files"
    assert other, "no camera among the static files"
    served = requests.get(f"{shop.address}/static/{name[1]}", timeout=30)
    assert served.headers["Content-Security-Policy"] == camera.POLICY
    assert "Content-Security-Policy" not in requests.get(f"{shop.address}/static/{other[1]}", timeout=30).headers


def test_reader_and_compiled_code_belong_together():
    digest = hashlib.sha256((CAMERA / "zxing_reader.wasm").read_bytes()).hexdigest()
    assert digest in (CAMERA / "barcode-detector.js").read_text()
    for name in ("barcode-detector", "zxing-wasm", "zxing-cpp"):
        assert (CAMERA / f"{name}-LICENSE").stat().st_size > 900
