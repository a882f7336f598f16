"""{% load parts %}: what a part's page and the pages that take parts show of it."""

from __future__ import annotations

from typing import Any

from django import template

from inventory.parts import ghs
from inventory.parts.models import Part

register = template.Library()


@register.inclusion_tag("inventory_parts/_hazards.html")
def hazards(part: Part) -> dict[str, Any]:
    """The cautions of a hazardous part, with pictograms and the words of its label; nothing for one that isn't."""
    return {"part": part, "label": ghs.read(part.hazards)}


@register.filter
def of(mapping: dict[Any, Any], key: Any) -> Any:
    """The value of a key, or nothing."""
    return mapping.get(key)
