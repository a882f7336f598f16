"""People at their screens: one browser each, signed in by name and password, reading words and pressing buttons."""

from __future__ import annotations

import itertools
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from tests.factories.people import PASSWORD

from .chromium import Visit


class Album:
    """Numbered screenshots in $TALLYBENCH_OUT, kept as output of CI; none without it."""

    def __init__(self, name: str) -> None:
        out = os.environ.get("TALLYBENCH_OUT")
        self.folder = Path(out) / "screenshots" / name if out else None
        self.count = itertools.count(1)
        if self.folder:
            self.folder.mkdir(parents=True, exist_ok=True)

    def keep(self, page: Any, who: str, what: str) -> None:
        n = next(self.count)
        if self.folder:
            name = re.sub(r"[^a-z0-9]+", "-", what.lower()).strip("-")
            size = page.viewport_size
            # as tall as the page: in a picture of a longer page the bar at the bottom would stand in the middle
            page.set_viewport_size({**size, "height": page.evaluate("document.documentElement.scrollHeight")})
            page.screenshot(path=self.folder / f"{n:02}-{who}-{name}.png")
            page.set_viewport_size(size)


class Seat:
    """One person's browser. Whatever stands on the page when `look` is called is also checked for flaws."""

    def __init__(self, browser: Any, site: str, person: Any, album: Album, *, width: int, height: int = 800) -> None:
        self.person, self.album, self.flaws = person, album, list[str]()
        self.context = browser.new_context(viewport={"width": width, "height": height}, locale="en-GB")
        self.context.set_default_timeout(15_000)
        self.page = self.context.new_page()
        self.seen = Visit(self.page)
        self.site = site

    def at(self, moment: datetime) -> None:
        """The browser's clock shows the shop's time; the counting clock on a page starts from it."""
        self.page.clock.set_fixed_time(moment)

    def sign_in(self) -> None:
        self.page.goto(self.site + "/")
        self.look("sign in")
        self.type("User name", self.person.username)
        self.type("Password", PASSWORD)
        self.press("Sign in")
        self.page.locator("#person").wait_for(state="attached")

    def go(self, path: str) -> None:
        self.page.goto(self.site + path)

    def press(self, name: str, of: str = "") -> None:
        """Press the button whose name begins so (and goes on to say `of` what), and wait for what comes of it."""
        self._click("button", name, of)

    def follow(self, name: str, of: str = "") -> None:
        self._click("link", name, of)

    def _click(self, role: Any, name: str, of: str) -> None:
        called = re.compile(f"^{re.escape(name)}.*{re.escape(of)}", re.DOTALL)
        with self._or_what_is_there(f"the {role} “{name} {of}”"):
            self.page.locator("main").get_by_role(role, name=called).first.click()
        self.page.wait_for_load_state("load")

    def type(self, label: str, text: str) -> None:
        asked = re.compile(rf"^{re.escape(label)}( \(optional\))?$")
        self.page.locator("main").get_by_label(asked).fill(text)

    def tick(self, label: str) -> None:
        self.page.locator("main").get_by_label(label).check()

    def reads(self, *words: str) -> None:
        """The page comes to show these words, spaces and line breaks aside."""
        for text in words:
            with self._or_what_is_there(f"“{text}”"):
                self.page.locator("main").get_by_text(text).first.wait_for()

    @contextmanager
    def _or_what_is_there(self, wanted: str) -> Iterator[None]:
        from playwright.sync_api import TimeoutError as TooLong

        try:
            yield
        except TooLong:
            there = f"{self.person.name} looks for {wanted} at {self.page.url} and reads: {self.text()}"
            raise AssertionError(there) from None

    def text(self, within: str = "main") -> str:
        return " ".join(self.page.inner_text(within).split())

    def look(self, what: str) -> None:
        """Keep a picture of the page, and note every flaw it has in this state."""
        self.page.wait_for_load_state("load")
        self.album.keep(self.page, self.person.username, what)
        wide = self.seen.sideways()
        found = self.seen.axe() + [f"console: {text}" for text in self.seen.console]
        self.flaws += [
            f"{what}: {flaw}" for flaw in [*found, *([f"scrolls sideways by {wide} px"] if wide > 0 else [])]
        ]
        self.seen.console.clear()
