"""What is measured on a page that a real server sent: bytes and requests as they travelled, sizes of what is pressed, when
the page stood and whether it jumped."""

from __future__ import annotations

import re
from typing import Any

from .chromium import PAGE_LIMIT, REQUEST_LIMIT, SCRIPT_LIMIT, WIDTHS, Visit

BENCH_TARGET, CLOCK, GAP = 64, 120, 8  # CSS px
# A slow phone on a slow line, as the usual laboratory profile has it: 1.6 Mbit/s, 150 ms, a processor four times slower.
SLOW = {"offline": False, "latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 93_750}
SLOW_PROCESSOR = 4

_TARGETS = """() => ['main :is(button, .big, .button, .stage-title a)', '.bench-nav :is(a, button)'].map(which =>
  [...document.querySelectorAll(which)].filter(e => e.checkVisibility()).map(e => { const r = e.getBoundingClientRect();
    return [e.textContent.trim().replace(/\\s+/g, ' '), e.matches('button.clock'), r.x, r.y, r.width, r.height]; }))"""
_REQUIRED = ":is(input, textarea)[required]:not([type=radio], [type=checkbox], [type=hidden])"
_FORMS = f"""[...document.querySelectorAll('main form[method=post]')]
  .filter(f => f.checkVisibility() && f.querySelector('{_REQUIRED}'))"""
_SEND_EMPTY = f"""index => {{
  const form = {_FORMS}[index];
  for (const box of form.querySelectorAll('{_REQUIRED}')) box.value = '';
  form.noValidate = true;
  setTimeout(() => form.requestSubmit());
}}"""
_TIMES = """() => new Promise(done => {
  const seen = {lcp: 0, cls: 0, what: ''};
  new PerformanceObserver(l => { for (const e of l.getEntries()) {
    seen.lcp = e.startTime; seen.what = e.element ? e.element.tagName.toLowerCase() : ''; } })
    .observe({type: 'largest-contentful-paint', buffered: true});
  new PerformanceObserver(l => { for (const e of l.getEntries()) if (!e.hadRecentInput) seen.cls += e.value; })
    .observe({type: 'layout-shift', buffered: true});
  setTimeout(() => done(seen), 400);
})"""


class Traffic:
    """Bytes that travelled for the page last opened, compressed and with headers. What the browser had kept from an
    earlier page counts as what it weighed then."""

    def __init__(self, page: Any) -> None:
        self.wire = page.context.new_cdp_session(page)
        self.weighed: dict[str, int] = {}  # all that ever came, by address
        self.asked: dict[str, tuple[str, str]] = {}  # address and kind of each request of this page
        self.wire.on("Network.responseReceived", self._answered)
        self.wire.on("Network.loadingFinished", self._finished)
        self.wire.send("Network.enable")

    def _answered(self, event: dict) -> None:
        if event["response"]["url"].startswith("http"):
            self.asked[event["requestId"]] = (event["response"]["url"], event["type"])

    def _finished(self, event: dict) -> None:
        if event["requestId"] in self.asked:
            url, _kind = self.asked[event["requestId"]]
            self.weighed[url] = max(self.weighed.get(url, 0), int(event["encodedDataLength"]))

    def start(self) -> None:
        self.asked.clear()

    def weight(self, kind: str = "") -> int:
        return sum(self.weighed.get(url, 0) for url, k in set(self.asked.values()) if not kind or k == kind)

    def flaws(self) -> list[str]:
        found = []
        if (bytes_ := self.weight()) > PAGE_LIMIT:
            found.append(f"weighs {bytes_} bytes")
        if (script := self.weight("Script")) > SCRIPT_LIMIT:
            found.append(f"{script} bytes of script")
        if len(self.asked) > REQUEST_LIMIT:
            found.append(f"{len(self.asked)} requests")
        return found


def bench_flaws(page: Any) -> list[str]:
    """Buttons of a bench page too small or too close for a hand in a glove."""
    found = []
    for targets in page.evaluate(_TARGETS):
        for name, clock, _x, _y, width, height in targets:
            if height < (CLOCK if clock else BENCH_TARGET) or width < BENCH_TARGET:
                found.append(f"“{name[:40]}” is {width:.0f} x {height:.0f} px")
        for n, (name, _c, x, y, width, height) in enumerate(targets):
            for other, _oc, ox, oy, owidth, oheight in targets[n + 1 :]:
                across = max(x, ox) - min(x + width, ox + owidth)
                down = max(y, oy) - min(y + height, oy + oheight)
                if max(across, down) < GAP - 0.5:
                    found.append(f"“{name[:30]}” and “{other[:30]}” are {max(across, down):.0f} px apart")
    return found


class Walk:
    """One person goes from page to page in one browser."""

    def __init__(self, context: Any, site: str) -> None:
        self.context, self.site = context, site
        self.page = context.new_page()
        self.seen, self.traffic = Visit(self.page), Traffic(self.page)
        self.status = 0

    def open(self, path: str) -> str:
        """The address it led to."""
        self.seen.console.clear()
        self.traffic.start()
        self.status = self.page.goto(self.site + path).status
        return self.page.url.removeprefix(self.site)

    def print_(self) -> str:
        """The page's own part without what differs each time, to recognise what another person was shown alike."""
        shown = self.page.evaluate("document.body.className + ' ' + document.getElementById('main').innerHTML")
        return re.sub(r'(value|hx-headers|id)="[^"]*"', "", shown)

    def flaws(self, *, dark: bool = False) -> list[str]:
        found = self.seen.axe() + self.traffic.flaws()
        if self.status >= 500:
            found.append(f"answers {self.status}")
        if self.page.evaluate("document.body.classList.contains('bench')"):
            found += bench_flaws(self.page)
        narrow = self.page.viewport_size
        for width in WIDTHS:
            self.page.set_viewport_size({**narrow, "width": width})
            if (over := self.seen.sideways()) > 0:
                found.append(f"scrolls sideways by {over} px at {width} px")
        if dark:
            self.page.emulate_media(color_scheme="dark")
            found += [f"dark: {flaw}" for flaw in self.seen.axe("color-contrast")]
            self.page.emulate_media(color_scheme="light")
        self.page.set_viewport_size(narrow)
        # Chromium itself reports an answer of 403, 404 or 422 to a page that was asked for
        return found + [f"console: {text}" for text in self.seen.console if "status of 4" not in text]

    def forms(self) -> int:
        """How many forms of the page ask for something."""
        return self.page.evaluate(f"{_FORMS}.length")

    def send_empty(self, index: int) -> None:
        """Send one of the forms with its required boxes empty, past the browser's own check."""
        self.seen.console.clear()
        self.traffic.start()
        with self.page.expect_navigation() as answer:
            self.page.evaluate(_SEND_EMPTY, index)
        self.status = answer.value.status


def slow_phone(browser: Any, url: str, state: Any) -> dict[str, Any]:
    """A page opened for the first time on a slow phone: milliseconds to its largest text or picture, how much it jumped,
    bytes, requests. `state` is the signed-in context's storage."""
    context = browser.new_context(viewport={"width": 360, "height": 740}, storage_state=state, locale="en-GB")
    try:
        page = context.new_page()
        traffic = Traffic(page)
        traffic.wire.send("Network.emulateNetworkConditions", SLOW)
        traffic.wire.send("Emulation.setCPUThrottlingRate", {"rate": SLOW_PROCESSOR})
        page.goto(url)
        return {
            **page.evaluate(_TIMES), "bytes": traffic.weight(), "script": traffic.weight("Script"),
            "requests": len(traffic.asked),
        }  # fmt: skip
    finally:
        context.close()
