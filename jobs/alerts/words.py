"""Alerts in sentences, and where each leads."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from shop.ui import formats

from .models import Alert

# kind: mark and words of its state
MARKS = {
    "expired": ("out", gettext_lazy("Expired")),
    "danger": ("late", gettext_lazy("Promised day in danger")),
    "overdue": ("late", gettext_lazy("Order overdue")),
    "expiring": ("near", gettext_lazy("Expires soon")),
    "low": ("open", gettext_lazy("Low")),
}
_MORE_AT = {
    "expired": "stock:expiring", "expiring": "stock:expiring", "danger": "cards:list", "overdue": "buying:awaited",
    "low": "reorder:list",
}  # fmt: skip


def _day(value: Any) -> str:
    return formats.day(date.fromisoformat(value) if isinstance(value, str) else value)


def _qty(facts: Mapping[str, Any], name: str) -> str:
    """Pieces go without a unit, as everywhere."""
    return formats.qty(Decimal(facts[name]), "" if facts["unit"] == "C62" else facts["unit"])


def sentence(alert: Alert) -> str:
    """What is the matter and what to do about it, in one or two sentences."""
    facts = alert.facts
    if "more" in facts:
        return ngettext("And %d more of this kind.", "And %d more of this kind.", facts["more"]) % facts["more"]
    return globals()[f"_{alert.kind}"](facts, alert.state)


def _low(facts: Mapping[str, Any], state: str) -> str:
    told = {"part": facts["part"], "left": _qty(facts, "left"), "point": _qty(facts, "point")}
    if state == "none":
        return _("%(part)s: nothing is left that isn't promised. Reorder point %(point)s.") % told
    return _("%(part)s: %(left)s unpromised, reorder at %(point)s.") % told


def _expired(facts: Mapping[str, Any], state: str) -> str:
    return _(
        "%(part)s: %(quantity)s of lot %(lot)s in bin %(bins)s could be used until %(day)s. Scrap it or put it into quarantine."
    ) % _lot(facts)


def _expiring(facts: Mapping[str, Any], state: str) -> str:
    return _("%(part)s: %(quantity)s of lot %(lot)s in bin %(bins)s must be used by %(day)s.") % _lot(facts)


def _lot(facts: Mapping[str, Any]) -> dict[str, str]:
    named = {name: facts[name] for name in ("part", "lot", "bins")}
    return {**named, "quantity": _qty(facts, "quantity"), "day": _day(facts["last_day"])}


def _overdue(facts: Mapping[str, Any], state: str) -> str:
    told = {"order": facts["order"], "who": facts["supplier"], "day": _day(facts["due_on"]), "n": facts["lines"]}
    said = (
        ngettext(
            "%(order)s, %(who)s: %(n)d line should have come by %(day)s.",
            "%(order)s, %(who)s: %(n)d lines should have come, the first by %(day)s.",
            facts["lines"],
        )
        % told
    )
    if facts["asked_on"]:
        return said + " " + _("Last asked %(day)s.") % {"day": _day(facts["asked_on"])}
    return said + " " + _("Ask where it stays.")


def _danger(facts: Mapping[str, Any], state: str) -> str:
    told = {
        "card": facts["card"], "promised": _day(facts["promised_on"]), "quantity": _qty(facts, "quantity"),
        "part": facts["part"], "day": _day(facts["day"]), "order": facts["order"],
    }  # fmt: skip
    if facts["why"] == "bad":
        return _(
            "Card %(card)s, promised %(promised)s: %(quantity)s of %(part)s kept for it may be used until %(day)s only. "
            "Fit it before, or get a fresh lot."
        ) % told  # fmt: skip
    return _(
        "Card %(card)s, promised %(promised)s: %(quantity)s of %(part)s come %(day)s at the earliest (%(order)s). "
        "Hurry the delivery, or promise another day."
    ) % told  # fmt: skip


def link(alert: Alert) -> str:
    """The page where somebody does something about it."""
    facts = alert.facts
    if "more" in facts:
        return reverse(_MORE_AT[alert.kind])
    if alert.kind in ("expired", "expiring"):
        return reverse("stock:lot", args=[facts["lot_id"]])
    if alert.kind == "overdue":
        return reverse("buying:order", args=[facts["order_id"]])
    if alert.kind == "low":
        return reverse("parts:part", args=[facts["part_id"]])
    return reverse("cards:card", args=[facts["card_id"]]) + "#parts"


MOST_IN_MAIL = 20


def mail(shop: str, new: list[str], waiting: int) -> tuple[str, str]:
    """Subject and text of the day's mail: what is new, and how many stand on the list in all."""
    subject = ngettext("%(shop)s: %(n)d new alert", "%(shop)s: %(n)d new alerts", len(new)) % {
        "shop": shop, "n": len(new),
    }  # fmt: skip
    lines = [f"- {text}" for text in new[:MOST_IN_MAIL]]
    if len(new) > MOST_IN_MAIL:
        lines.append(_("- and %d more") % (len(new) - MOST_IN_MAIL))
    whole = ngettext(
        "%d stands on your list in all, under Alerts.", "%d stand on your list in all, under Alerts.", waiting
    ) % waiting  # fmt: skip
    end = _("You chose this mail under My account, and can switch it off there.")
    return subject, "\n".join([_("New since the last list:"), "", *lines, "", whole, end])
