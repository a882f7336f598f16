"""{% at_work %}: the buttons Here and Gone for whoever has hours of their own."""

from __future__ import annotations

from typing import Any

from django import template
from django.template import Context

from .. import presence

register = template.Library()


@register.inclusion_tag("jobs_timebook/at_work.html", takes_context=True)
def at_work(context: Context, clock: Any = None) -> dict[str, Any]:
    """`clock`: one's running time booking, if there is one: it stops with Gone."""
    request = context["request"]
    shown = "time.own" in request.user.rights
    return {
        "shown": shown, "attending": presence.here_of(request.user) if shown else None, "clock": clock,
        "request": request, "csrf_token": context.get("csrf_token"),
    }  # fmt: skip
