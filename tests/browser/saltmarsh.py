"""The invented Saltmarsh Engine Works, loaded and served by the project's own command, and browsers signed in to it."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from shop.config.management.commands.demo import PASSWORD
from tests.factories.processes import Shop

PEOPLE = {"owner": "maren", "office": "pim", "mechanic": "jory", "stores": "tamsin"}


@contextmanager
def saltmarsh() -> Iterator[Shop]:
    """On SQLite, as the demo is by default; gone afterwards."""
    with Shop(Path(tempfile.mkdtemp(prefix="tallybench-demo-"))) as shop:
        shop.demo()
        yield shop


def signed_in(browser: Any, shop: Shop, who: str, **context: Any) -> Any:
    """A browser context of a person, named or by a role, who came in through the sign-in page."""
    opened = browser.new_context(locale="en-GB", timezone_id="Europe/Dublin", **context)
    opened.set_default_timeout(20_000)
    page = opened.new_page()
    page.goto(f"{shop.address}/sign-in/")
    page.fill("#id_username", PEOPLE.get(who, who))
    page.fill("#id_password", PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.locator("#person").wait_for(state="attached")
    page.close()
    return opened
