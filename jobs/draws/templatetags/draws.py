"""{% load draws %}: how quantities of parts are shown."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from inventory.parts.models import Part
from jobs.draws.lines import PartLine
from shop.ui.formats import qty
from shop.ui.templatetags.ui import state

register = template.Library()


@register.filter
def many(quantity: Any, part: Part) -> str:
    """A quantity of a part; pieces go without a unit."""
    return qty(quantity, "" if part.unit == "C62" else part.unit)


@register.filter
def at(mapping: dict[Any, Any], key: Any) -> Any:
    return mapping.get(key)


@register.simple_tag
def part_state(line: PartLine) -> SafeString:
    """Where a part of a stage stands, by what its reader must do about it."""
    if line.in_hand > 0:
        return state("doing", _("%s in hand") % many(line.in_hand, line.part))
    if line.declined:
        return state("off", _("declined by the customer"))
    if line.short:
        return state("hold", _("%s short") % many(line.short, line.part), "strong")
    if line.missing:
        return state("todo", _("not kept, %s free") % many(line.free, line.part))
    if line.to_draw:
        return state("kept", _("kept for it"))
    if line.fitted:
        return state("done", _("fitted"))
    if line.spent:
        return state("out", _("spent"))
    return state("off", _("returned") if line.draws else _("not used"))
