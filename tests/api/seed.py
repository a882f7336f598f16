"""A small shop with something in every room, so that most ids lead somewhere."""

from __future__ import annotations

from shop.people.actions import tablets
from tests.factories import cards, estimates, invoices, parts, plans, stock
from tests.factories.people import person


def seed() -> None:
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
