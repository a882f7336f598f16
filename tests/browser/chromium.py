"""Real Chromium for tests: the fixture, and what is measured on every page.

In a room's conftest:  from tests.browser.chromium import chromium  # noqa: F401
In a test:             with visit(chromium, url, width=360) as page: ...; assert page.flaws() == []
Mark such tests with @pytest.mark.browser. TALLYBENCH_CHROMIUM names the program if it is not on the PATH.
"""

from __future__ import annotations

import atexit
import gzip
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

_running: list[Any] = []
WIDTHS = (360, 820, 1366)
PAGE_LIMIT, SCRIPT_LIMIT, REQUEST_LIMIT = 150_000, 50_000, 12
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

_SCAN = """([code, gap]) => new Promise(done => {
  let struck = performance.now(); // a scanner's keys bear the time they were struck, however late the page hears them
  for (const key of [...code, 'Enter']) {
    const el = document.activeElement || document.body;
    const ev = new KeyboardEvent('keydown', {key, bubbles: true, cancelable: true});
    Object.defineProperty(ev, 'timeStamp', {value: struck});
    const go = el.dispatchEvent(ev);
    if (go && key.length === 1 && el.matches('input:not([type=checkbox]), textarea')) {
      el.value += key; el.dispatchEvent(new Event('input', {bubbles: true}));
    }
    if (go && key === 'Enter' && el.form && el.matches('input')) el.form.requestSubmit();
    struck += gap;
  }
  setTimeout(done, 20);
})"""


def program() -> str | None:
    named = os.environ.get("TALLYBENCH_CHROMIUM")
    names = ("chromium", "chromium-browser", "google-chrome")
    return named or next(filter(None, map(shutil.which, names)), None)


@pytest.fixture(scope="session")
def chromium() -> Any:
    """One browser for the session. Skips, and says so, where there is none."""
    path = program()
    if path is None:
        pytest.skip("needs Chromium: install it, or set TALLYBENCH_CHROMIUM to its path")
    from playwright.sync_api import sync_playwright

    # Playwright's loop lives in this thread; Django would take the tests' own queries for async ones.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    # Each conftest that imports this fixture makes one of its own, but a process can run Playwright only once.
    if not _running:
        playwright = sync_playwright().start()
        _running.append(playwright.chromium.launch(executable_path=path, args=["--no-sandbox"]))
        atexit.register(playwright.stop)
    return _running[0]


def cookies_of(person: Any, url: str) -> list[dict]:
    """Session of a signed-in person for `visit(..., cookies=)`; `url` is the live server's address."""
    from django.conf import settings
    from django.test import Client

    client = Client()
    client.force_login(person)
    name = settings.SESSION_COOKIE_NAME
    return [{"name": name, "value": client.cookies[name].value, "url": url}]


class Visit:
    """A page under observation: console, requests and their weight as a compressing server sends it."""

    def __init__(self, page: Any):
        self.page = page
        self.console: list[str] = []
        self.weights: list[tuple[str, str, int]] = []
        page.on("console", lambda m: self.console.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda e: self.console.append(str(e)))
        page.on("requestfinished", self._weigh)

    def _weigh(self, request: Any) -> None:
        try:
            body = request.response().body()
        except Exception:  # a redirect has no body
            body = b""
        if request.resource_type in ("document", "script", "stylesheet", "xhr", "fetch"):
            body = gzip.compress(body, 6)
        self.weights.append((request.url, request.resource_type, len(body)))

    def weight(self, kind: str = "") -> int:
        return sum(w for _, k, w in self.weights if not kind or k == kind)

    def axe(self, only: str = "") -> list[str]:
        """WCAG 2.2 AA violations, one line each with the first element; of one rule if `only` names it."""
        from axe_playwright_python.sync_playwright import Axe

        asked = {"type": "rule", "values": [only]} if only else {"type": "tag", "values": WCAG}
        self.page.evaluate(Axe().axe_script)
        found = self.page.evaluate(
            "asked => axe.run({runOnly: asked, resultTypes: ['violations']}).then(found => found.violations)", asked
        )
        return [
            f"{v['id']} ({len(v['nodes'])}): {v['nodes'][0]['html'][:160]} {v['nodes'][0].get('failureSummary', '')}"
            for v in found
        ]

    def sideways(self) -> int:
        """Pixels by which the page is wider than the window."""
        return self.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")

    def flaws(self) -> list[str]:
        """What QUALITY asks of every page in every state; empty when all is well."""
        out = [f"axe: {v}" for v in self.axe()] + [f"console: {m}" for m in self.console]
        if self.sideways() > 0:
            out.append(f"scrolls sideways by {self.sideways()} px")
        if self.weight() > PAGE_LIMIT:
            out.append(f"weighs {self.weight()} bytes")
        if self.weight("script") > SCRIPT_LIMIT:
            out.append(f"{self.weight('script')} bytes of script")
        if len(self.weights) > REQUEST_LIMIT:
            out.append(f"{len(self.weights)} requests")
        return out

    def scan(self, code: str, gap: int = 6) -> None:
        """Send a code as a keyboard-wedge scanner does: keys `gap` ms apart, then Enter.

        Made inside the page; through the driver the gaps would be the driver's.
        """
        from playwright.sync_api import Error

        self.page.wait_for_load_state()  # nobody scans into a page that isn't there yet
        try:
            self.page.evaluate(_SCAN, [code, gap])
        except Error as error:  # the scan led to another page before the last key came back
            if "context was destroyed" not in str(error):
                raise

    def posts(self) -> list[str]:
        """Bodies of the postings sent from now on; the list grows as they are sent."""
        sent: list[str] = []
        self.page.on("request", lambda r: sent.append(r.post_data or "") if r.method == "POST" else None)
        return sent


@contextmanager
def visit(
    browser: Any,
    url: str,
    *,
    width: int = 1366,
    height: int = 900,
    dark: bool = False,
    cookies: list[dict] | None = None,
    script: bool = True,
) -> Iterator[Visit]:
    """Open `url` in a fresh profile. `cookies`: as Playwright takes them (name, value, url)."""
    context = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme="dark" if dark else "light",
        java_script_enabled=script,
        locale="en-GB",
    )
    context.set_default_timeout(10_000)
    if cookies:
        context.add_cookies(cookies)
    try:
        seen = Visit(context.new_page())
        seen.page.goto(url)
        yield seen
    finally:
        context.close()
