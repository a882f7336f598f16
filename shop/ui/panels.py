"""Where a room shows something of its own on the page of a room below it: a customer's cards on the customer page.

The lower room's template has {% panels "customer" customer %}. The upper room, in its AppConfig.ready():

    panels.add("customer", "cards.read", of_customer)      # of_customer(request, row) -> HTML of one section, or ""

Places there are: "part", "lot", "bin", "supplier", "order", "customer", "machine", "plan", "card", "estimate", "stage" (a stage's own page),
"me" (one's own account);
and the rows of buttons "card-buttons", "stage-buttons", "estimate-buttons". They appear in the order of INSTALLED_APPS, for those who hold the right.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest

Panel = Callable[[HttpRequest, Any], str]
_places: dict[str, dict[Panel, str]] = {}


def add(place: str, right: str, panel: Panel) -> None:
    """Show `panel` at `place` to those who hold `right`. Adding it again changes nothing."""
    _places.setdefault(place, {})[panel] = right


def of(place: str, rights: frozenset[str]) -> list[Panel]:
    """The panels of a place for a person with `rights`."""
    return [panel for panel, right in _places.get(place, {}).items() if right in rights]
