"""The pictures of the README's tour, taken from the served demo into .readme/. Run by hand after a page has changed:

    python -m tests.browser.tour [names]

It serves the invented shop with its clock stopped at one moment, so that the same pages give the same pictures. Needs
Chromium and pdftoppm (Debian: poppler-utils).
"""

from __future__ import annotations

import io
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import django
from PIL import Image

ROOT = Path(__file__).resolve().parents[2]
INTO = ROOT / ".readme"
MOMENT = datetime(2026, 11, 25, 14, 45, tzinfo=ZoneInfo("Europe/Dublin"))  # a Wednesday in working hours
LIMIT = 120_000  # bytes of a picture
COLOURS = 64
SERVER = "TALLYBENCH_TOUR_SERVER"


def stopped() -> None:
    """In the server's process: `manage.py demo`, and `serve` which that becomes, at the moment."""
    from django.core.management import execute_from_command_line
    from django.utils import timezone

    timezone.now = lambda: MOMENT.astimezone(ZoneInfo("UTC"))
    sys.path[0] = str(ROOT)
    os.environ |= {"DJANGO_SETTINGS_MODULE": "shop.config.settings", "TALLYBENCH_PLAIN_HTTP": "1"}
    # not by manage.py: `demo` begins anew as whatever the first argument says, and has to come back here
    execute_from_command_line([__file__, *(sys.argv[1:] or ["demo"])])


class Camera:
    def __init__(self, browser: Any, shop: Any, only: list[str]) -> None:
        self.browser, self.shop, self.only = browser, shop, only
        self.seats: dict[tuple[str, int], Any] = {}

    def page(self, who: str, width: int, height: int) -> Any:
        from .saltmarsh import signed_in

        if (who, width) not in self.seats:
            size = {"width": width, "height": height}
            self.seats[who, width] = signed_in(self.browser, self.shop, who, viewport=size)
        page = self.seats[who, width].new_page()
        page.set_viewport_size({"width": width, "height": height})
        page.clock.set_fixed_time(MOMENT)
        return page

    def take(self, name: str, who: str, size: tuple[int, int], go: Callable[[Any], None]) -> None:
        """The window of `who` when `go` has led there."""
        if self.only and name not in self.only:
            return
        page = self.page(who, *size)
        go(page)
        page.wait_for_load_state("networkidle")
        keep(name, page.screenshot(animations="disabled", caret="hide"))
        page.close()

    def sheet(self, name: str, who: str, link: Callable[[Any], str], width: int = 620) -> None:
        """The first page of a PDF, `link` found on the pages of `who`."""
        if self.only and name not in self.only:
            return
        page = self.page(who, 1366, 800)
        answer = page.context.request.get(self.shop.address + link(page))
        drawn = subprocess.run(
            ["pdftoppm", "-png", "-singlefile", "-scale-to-x", str(width), "-scale-to-y", "-1", "-"],
            input=answer.body(), capture_output=True, check=True, timeout=60,
        )  # fmt: skip
        keep(name, drawn.stdout, frame=True)
        page.close()


def keep(name: str, png: bytes, *, frame: bool = False) -> None:
    """As a PNG of few colours. Raises SystemExit when it is still too big."""
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    if frame:  # white paper on a white page
        framed = Image.new("RGB", (picture.width + 2, picture.height + 2), (196, 206, 206))
        framed.paste(picture, (1, 1))
        picture = framed
    few = picture.quantize(COLOURS, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    path = INTO / f"{name}.png"
    few.save(path, optimize=True)
    size = path.stat().st_size
    print(f"{path.relative_to(ROOT)}: {picture.width} x {picture.height}, {size:,} bytes")
    if size > LIMIT:
        raise SystemExit(f"{name} has more than {LIMIT:,} bytes: make the window smaller.")


def tour(camera: Camera) -> None:
    site = camera.shop.address

    def at(path: str) -> Callable[[Any], None]:
        return lambda page: page.goto(site + path)

    def card_of(page: Any, customer: str) -> str:
        """The open card of a customer."""
        page.goto(f"{site}/cards/")
        return page.locator("tr", has_text=customer).get_by_role("link").first.get_attribute("href")

    def stage_of_brann(page: Any) -> None:
        page.goto(f"{site}/bench/")
        page.get_by_role("link", name="Open this stage").click()
        page.wait_for_url("**/stages/**")

    def draw(page: Any) -> None:
        stage_of_brann(page)
        page.goto(f"{page.url.rstrip('/')}/draw/?part=FAS-702")

    def document(row: str, section: str) -> Callable[[Any], str]:
        def link(page: Any) -> str:
            page.goto(f"{site}/{section}/")
            page.locator("tr", has_text=row).get_by_role("link").first.click()
            page.get_by_role("link", name="PDF").wait_for()
            return page.get_by_role("link", name="PDF").get_attribute("href")

        return link

    camera.take("today", "office", (1180, 760), at("/"))
    camera.take("card", "office", (1366, 1290), lambda p: p.goto(site + card_of(p, "Maud Tregarrow")))
    camera.take("bench", "brann", (360, 740), stage_of_brann)
    camera.take("draw", "brann", (360, 740), draw)
    camera.take("find", "office", (1180, 620), at("/find/?q=cockle"))
    camera.sheet("estimate", "office", document("Corran RW 40 RW-1182", "estimates"))
    camera.sheet("invoice", "office", document("Brackwater Mussels", "invoices"))
    camera.sheet("sheet", "office", lambda p: f"{card_of(p, 'Maud Tregarrow')}sheet.pdf")


def main(only: list[str]) -> None:
    from playwright.sync_api import sync_playwright

    from tests.factories.processes import Shop

    from .chromium import program

    INTO.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="tallybench-tour-") as folder, Shop(Path(folder)) as shop:
        os.environ |= {"DJANGO_SETTINGS_MODULE": "shop.config.settings", **shop.environment}
        django.setup()  # for the cast's names and password
        shop.environment[SERVER] = "1"
        shop.demo("-m", "tests.browser.tour")
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=program(), args=["--no-sandbox"])
            tour(Camera(browser, shop, only))
            browser.close()


if __name__ == "__main__":
    stopped() if os.environ.get(SERVER) else main(sys.argv[1:])
