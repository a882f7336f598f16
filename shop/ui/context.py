"""What every template knows."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

# label, url name, right. Rooms' pages appear here in the order of a working day.
NAV: tuple[tuple[str, str, str], ...] = (
    ("Today", "home", "home.read"),
    ("My stages", "cards:mine", "stages.work"),
    ("Job cards", "cards:list", "cards.read"),
    ("Alerts", "alerts:list", "alerts.own"),
    ("Machines", "machines:list", "machines.read"),
    ("Customers", "machines:customers", "customers.read"),
    ("Parts", "parts:list", "parts.read"),
    ("Stock", "stock:list", "stock.read"),
    ("To order", "reorder:list", "reorder.read"),
    ("Labels", "labels:labels", "labels.edit"),
    ("Plans", "plans:list", "plans.read"),
    ("Estimates", "estimates:list", "estimates.read"),
    ("Invoices", "invoices:list", "invoices.read"),
    ("Accounts", "accounts:ages", "invoices.read"),
    ("Books", "books:journal", "books.read"),
    ("Reports", "reports:hub", "time.read"),
    ("My hours", "timebook:mine", "time.own"),
    ("Hours", "timebook:list", "time.read"),
    ("Orders", "buying:orders", "buying.read"),
    ("Suppliers", "buying:list", "buying.read"),
    ("Import", "import:start", "import.run"),
    ("People", "people:list", "people.read"),
    ("Business", "business:profile", "business.edit"),
    ("Outbox", "outbox:list", "outbox.read"),
)

# How much waits behind an entry, by its url name: a room above adds a function of the person that costs one indexed query.
# It is asked when the menu is drawn.
COUNTS: dict[str, Callable[[Any], int]] = {}


def shell(request: HttpRequest) -> dict[str, Any]:
    person = getattr(request, "user", None)
    rights = person.rights if person is not None and person.is_authenticated else frozenset()
    return {
        "rights": rights,
        "shell": "ui/bench.html" if at_bench(rights) else "ui/base.html",
        "csp_nonce": getattr(request, "csp_nonce", ""),
        "nav": _entries(rights, request.path, person),
    }


def at_bench(rights: frozenset[str]) -> bool:
    """Whether somebody works on machines and runs no office: pages that both use (`{% extends shell %}`) then stand in the
    bench's shell."""
    return "stages.work" in rights and "cards.edit" not in rights


def _entries(rights: frozenset[str], here: str, person: Any = None) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for label, name, right in NAV:
        if right not in rights:
            continue
        try:
            entry = {"label": label, "url": reverse(name)}
        except NoReverseMatch:
            continue
        found.append(entry | ({"count": partial(COUNTS[name], person)} if name in COUNTS else {}))
    # of "Hours" and "My hours" below it, only the one that says more
    fits = [e["url"] for e in found if here == e["url"] or (e["url"] != "/" and here.startswith(e["url"]))]
    return [entry | {"current": entry["url"] == max(fits, key=len, default="")} for entry in found]
