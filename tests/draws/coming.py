"""Needs, orders and deliveries as the tests of where parts come from make and read them."""

from __future__ import annotations

import html
import re
import uuid
from datetime import timedelta
from decimal import Decimal as D

from inventory.buying import actions as buying
from jobs.cards import queries as card_queries
from jobs.cards import wording
from jobs.draws import actions, queries, supply
from jobs.draws.models import Need
from jobs.draws.templatetags.draws import told
from shop.kernel import clock
from tests.factories import buying as made
from tests.factories.cards import a_card, a_stage
from tests.factories.stock import bin_


def said(answer):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())).split())


def send(client, url, **fields):
    return client.post(url, {"once": str(uuid.uuid4()), **fields})


def need_of(by, of, quantity="2", promised=None, **stage):
    """A need on a card of its own, promised in so many days."""
    on = None if promised is None else clock.today() + timedelta(days=promised)
    row = a_stage(a_card(by, promised_on=on), "Fit head", kind="assemble", **stage)
    return actions.add_need(by=by, stage_id=row.pk, part_id=of.pk, quantity=D(quantity))


def got(need):
    row = queries.need(need.pk)
    return supply.situation(row.part_id, row.stage.card.site_id).supplies()[need.pk]


def words(need):
    return told(got(need), Need.objects.get(pk=need.pk).part)


def kept(need):
    return supply.kept_for(Need.objects.get(pk=need.pk))


def ordered(by, of, quantity, days=7, **more):
    """An order that was sent and confirmed for a day."""
    order = made.sent(by, of, quantity, **more)
    return buying.confirm_order(order.pk, None, by=by, promised_on=clock.today() + timedelta(days=days))


def arrive(by, order, quantity=None, note="4711"):
    row = buying.open_receipt(by=by, order_id=order.pk, delivery_note=note, bin_id=bin_(by, at=order.site).pk)
    if quantity is None:
        buying.fill_receipt(row.pk, by=by)
    else:
        buying.add_receipt_line(row.pk, None, by=by, order_line_id=order.lines.get().pk, quantity=D(quantity))
    return buying.post_receipt(row.pk, None, by=by)


def sent(by, line):
    return buying.send_order(line.order_id, None, by=by, how="phone")


def cards_history(need):
    """What the history of its card says."""
    return [
        wording.sentence(t.verb, t.detail) for t in card_queries.history(need.stage.card_id, need.stage.card.opened_by)
    ]
