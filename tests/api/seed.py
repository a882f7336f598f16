"""A small shop with something in every room, so that most ids lead somewhere."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from shop.config.management.commands import openapi
from shop.people.actions import tablets
from shop.people.models import Person
from tests.factories import cards, estimates, invoices, parts, plans, stock
from tests.factories.client import Api
from tests.factories.people import person

FIELDS = {
    "bin_id": "bins", "from_bin_id": "bins", "to_bin_id": "bins", "card_id": "cards",
    "customer_id": "customers", "lot_id": "lots", "machine_id": "machines",
    "movement_id": "movements", "reverses_id": "movements", "part_id": "parts",
    "person_id": "people", "by_id": "people", "keeper_id": "people", "mechanic_id": "people",
    "site_id": "sites", "stage_id": "stages", "estimate_id": "estimates",
    "invoice_id": "invoices", "payment_id": "payments", "plan_id": "plans", "corrects_id": "time-bookings",
}  # fmt: skip


def seed() -> dict[str, list[int]]:
    """Make it, and tell what `known` tells."""
    owner = person("maren", "Maren Holt", "owner", "mechanic")
    for username, name, role in (
        ("pim", "Pim Castell", "office"), ("jory", "Jory Vane", "mechanic"), ("tamsin", "Tamsin Roe", "stores"),
    ):  # fmt: skip
        person(username, name, role)
    estimates.shop(owner)
    tablets.enrol(label="Bench 2", digest="0" * 64, by=owner)
    plans.plan()
    parts.part(owner)
    stock.bin_(owner)
    card = cards.a_card()
    cards.a_stage(card)
    invoices.issued(owner)
    return known(owner)


def known(owner: Person) -> dict[str, list[int]]:
    """Ids that exist, newest rows of each room: by the first word of its paths, and by the names of fields that take one."""
    client, found = Api(owner), {}
    first = {"card_id": "cards", "estimate_id": "estimates", "invoice_id": "invoices"}
    client.post("tokens/", {"label": "to be revoked"})
    lists = []
    for path, operations in description()["paths"].items():
        room = path.removeprefix("/api/v1/").strip("/")
        if "get" in operations and "/" not in room:
            asked = operations["get"]["parameters"]
            lists.append((room, path, [p["name"] for p in asked if p["in"] == "query" and p.get("required")]))
    for room, path, needed in sorted(lists, key=lambda one: len(one[2])):
        found[room] = []
        for pk in found[first[needed[0]]] if needed else [0]:
            answer = client.get(path, **dict.fromkeys(needed, pk)).json()
            found[room] += [row["id"] for row in answer.get("items", []) if "id" in row]
    return found | {field: found[room] for field, room in FIELDS.items() if found.get(room)}


def description() -> dict[str, Any]:
    return json.loads((Path(openapi.PATH)).read_text())
