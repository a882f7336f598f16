"""What a part is sold at, and which rule said so."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.parts import actions, pricing, queries
from inventory.parts.models import PriceRule
from inventory.parts.pricing import Rule
from jobs.estimates import actions as estimates
from shop.kernel.errors import BadInput, Stale
from tests.factories import estimates as made_estimates
from tests.factories import parts as made
from tests.factories import stock

DAY = date(2026, 11, 25)


def rule(pk=1, markup="60", low="0", high=None, **more):
    return Rule(
        pk, f"Rule {pk}", D(markup), D(low), D(high) if high else None, more.pop("since", date(2026, 1, 1)), **more
    )


def asked(cost, rules, hand=None, kind="gasket", customer_class="", day=DAY):
    cost = None if cost is None else D(cost)
    return pricing.price(hand, cost, rules, kind=kind, customer_class=customer_class, day=day)


BANDS = [rule(1, "150", "0", "5"), rule(2, "80", "5", "20"), rule(3, "50", "20")]


@pytest.mark.parametrize(
    ("cost", "amount", "by"),
    [
        ("0.10", "0.25", 1),
        ("4.999999", "12.50", 1),
        ("5", "9", 2),
        ("19.99", "35.98", 2),
        ("20", "30", 3),
        ("1000", "1500", 3),
    ],
)
def test_the_band_of_its_cost(cost, amount, by):
    found = asked(cost, BANDS)
    assert (found.amount, found.source, found.rule.id) == (D(amount), "rule", by)


def test_a_price_set_by_hand_wins():
    found = asked("5", BANDS, hand=D("0.01"))
    assert (found.amount, found.source, found.rule) == (D("0.01"), "hand", None)


def test_class_and_kind_go_before_class_before_kind_before_all():
    every = [
        rule(1, "10"), rule(2, "20", kind="gasket"), rule(3, "30", customer_class="Trade"),
        rule(4, "40", kind="gasket", customer_class="trade"),
    ]  # fmt: skip
    assert asked("100", every).amount == D(120)
    assert asked("100", every, kind="fastener").amount == D(110)
    assert asked("100", every, customer_class="TRADE").amount == D(140)
    assert asked("100", every, kind="fastener", customer_class="trade").amount == D(130)
    assert asked("100", every, customer_class="regular").amount == D(120)


def test_on_its_days_only():
    rules = [rule(1, "10", valid_to=date(2026, 11, 24)), rule(2, "20", since=date(2026, 11, 25))]
    assert asked("100", rules, day=date(2026, 11, 24)).amount == D(110)
    assert asked("100", rules).amount == D(120)
    assert asked("100", rules, day=date(2025, 12, 31)).source == "none"


def test_without_cost_or_rule_there_is_none():
    assert (asked(None, BANDS).amount, asked(None, BANDS).source) == (None, "none")
    assert "no price rule" in asked("3", [rule(1, "10", "5")]).why


@pytest.mark.parametrize(
    ("cost", "markup", "step", "amount"),
    [
        ("10", "33", "0.01", "13.30"), ("10", "33", "0.05", "13.30"), ("10.03", "0", "0.05", "10.05"),
        ("10.02", "0", "0.05", "10.05"),  # the nearest, 10.00, would lie below the cost
        ("0.003", "50", "0.01", "0.01"), ("0.003", "50", "0.0001", "0.0045"), ("12.345", "100", "1", "25"),
        ("0", "50", "0.01", "0"), ("1.005", "0", "0.01", "1.01"),
    ],
)  # fmt: skip
def test_steps_never_fall_below_cost(cost, markup, step, amount):
    assert rule(1, markup, step=D(step)).of(D(cost)) == D(amount)


@pytest.mark.django_db
def test_rules_that_cross_are_refused_and_named(owner):
    def add(**more):
        values = {
            "name": "x",
            "markup_percent": D(50),
            "cost_from": D(0),
            "cost_below": D(10),
            "valid_from": DAY,
        } | more
        return actions.add_price_rule(by=owner, **values)

    first = add(name="Small parts", valid_to=date(2026, 12, 31))
    with pytest.raises(BadInput, match=r"“Small parts”.*0 to below 10") as refusal:
        add(cost_from=D(9), cost_below=None)
    assert refusal.value.code == "rules-cross"
    add(cost_from=D(10), cost_below=None)
    add(kind="gasket")
    add(customer_class="trade")
    add(valid_from=date(2027, 1, 1))
    with pytest.raises(BadInput, match="same kind and class"):
        add(customer_class="TRADE")
    with pytest.raises(BadInput, match="same kind and class"):
        actions.edit_price_rule(first.pk, None, by=owner, valid_to=None)
    assert actions.edit_price_rule(first.pk, 1, by=owner, markup_percent=D(55)).version == 2
    with pytest.raises(Stale):
        actions.edit_price_rule(first.pk, 1, by=owner, name="y")
    actions.archive_price_rule(first.pk, None, by=owner)
    add(valid_to=date(2026, 12, 31))
    with pytest.raises(IntegrityError), transaction.atomic():
        PriceRule.objects.create(name="x", markup_percent=1, cost_from=5, cost_below=5, valid_from=DAY)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", " "), ("markup_percent", D(-1)), ("markup_percent", D("NaN")), ("cost_from", D(-1)), ("cost_below", D(0)),
        ("step", D("0.03")), ("kind", "engine"), ("valid_to", date(2020, 1, 1)), ("markup_percent", D("1.2345")),
    ],
)  # fmt: skip
def test_what_cannot_be(owner, field, value):
    with pytest.raises(BadInput) as refusal:
        actions.add_price_rule(by=owner, **{"name": "x", "markup_percent": D(50)} | {field: value})
    assert list(refusal.value.fields) == [field]


@pytest.mark.django_db
def test_the_page_says_which_rule_and_a_mechanic_sees_no_cost(client, owner, stores, mechanic):
    part = made.part(stores)
    stock.lot(stores, part.pk, "2", "10.00")
    stock.lot(stores, part.pk, "2", "20.00")
    actions.add_price_rule(by=owner, name="All parts", markup_percent=D(65))
    where = reverse("parts:part", args=[part.pk])

    def shown(person):
        client.force_login(person)
        return " ".join(client.get(where).content.decode().split())

    assert "€33.00" in shown(stores)
    assert "by the rule “All parts”: cost €20.00 and 65 %" in shown(stores)
    seen = shown(mechanic)
    assert "€33.00" in seen
    assert "All parts" not in seen and "€20.00" not in seen and "65 %" not in seen  # noqa: PT018
    assert client.get(reverse("parts:prices")).status_code == 403
    actions.edit_part(part.pk, None, by=stores, sale_price=D("31"))
    assert "set by hand" in shown(stores)


@pytest.mark.django_db
def test_over_the_api(api, owner, stores, mechanic):
    part = made.part(stores)
    stock.lot(stores, part.pk, "2", "20.00")
    body = {"name": "All parts", "markup_percent": "65"}
    made_ = api(owner).post("price-rules/", body)
    assert (made_.status_code, made_.json()["step"]) == (201, "0.01")
    assert (
        api(owner).post("price-rules/", body | {"customer_class": "trade", "markup_percent": "40"}).status_code == 201
    )
    assert api(stores).post("price-rules/", body).status_code == 403
    assert api(mechanic).get("price-rules/").status_code == 403
    crossing = api(owner).post("price-rules/", body)
    assert (crossing.status_code, crossing.json()["type"]) == (400, "/api/problems/rules-cross")
    read = f"parts/{part.pk}/price/"
    rule_id = made_.json()["id"]
    assert api(stores).get(read).json() == {
        "amount": "33.00",
        "how": "rule",
        "rule_id": rule_id,
        "rule": "All parts",
    }
    assert api(stores).get(read, customer_class="Trade").json()["amount"] == "28.00"
    assert api(mechanic).get(read).json() == {"amount": "33.00", "how": "rule", "rule_id": None, "rule": ""}
    assert api(stores).get("parts/999999/price/").status_code == 404
    assert api(owner).delete(f"price-rules/{rule_id}/").status_code == 204
    assert api(stores).get(read, on="2020-01-01").json()["how"] == "none"


@pytest.mark.django_db
def test_an_estimate_asks_the_rules_with_the_customers_class(owner, stores):
    made_estimates.shop(owner)
    part = made.part(stores, "GKT-077")
    stock.lot(stores, part.pk, "2", "20.00")
    actions.add_price_rule(by=owner, name="All parts", markup_percent=D(65))
    actions.add_price_rule(by=owner, name="Trade", markup_percent=D(40), customer_class="trade")
    draft = made_estimates.draft(owner, made_estimates.card_with_work(owner, 1))
    line = estimates.add_line(draft.pk, None, by=owner, part_id=part.pk)
    assert (line.unit_price, line.basis["price"], line.basis["rule"]) == (D(33), "rule", "All parts")
    customer = draft.card.customer
    customer.customer_class = "Trade"
    customer.save()
    line = estimates.add_line(draft.pk, None, by=owner, part_id=part.pk)
    assert (line.unit_price, line.basis["rule"]) == (D(28), "Trade")


@pytest.mark.django_db
def test_prices_of_many_take_as_many_queries_as_of_few(owner, stores):
    actions.add_price_rule(by=owner, name="All parts", markup_percent=D(65))

    def counted():
        with CaptureQueriesContext(connection) as seen:
            found = queries.prices(queries.parts())
        assert all(p.amount == D(33) for p in found.values())
        return len(seen)

    for n in range(2):
        stock.lot(stores, made.part(stores, f"GKT-{n}").pk, "2", "20.00")
    few = counted()
    for n in range(2, 8):
        stock.lot(stores, made.part(stores, f"GKT-{n}").pk, "2", "20.00")
    assert counted() == few
