"""What this room shows on the pages of a card and of a stage: hours, and one's own clock."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from . import queries


def buttons_of_stage(request: HttpRequest, row: Any) -> str:
    """Clock on or off, finish, hold. One's running clock is looked up once for all stages of a page."""
    if not hasattr(request, "running_clock"):
        request.running_clock = queries.running_of(request.user)  # type: ignore[attr-defined,arg-type]
    clock = request.running_clock  # type: ignore[attr-defined]
    context = {
        "stage": row, "here": clock is not None and clock.stage_id == row.pk, "clock": clock,
        "next": request.get_full_path(), "hidden": {"next": request.get_full_path()},
        "rights": request.user.rights,  # type: ignore[union-attr]
    }  # fmt: skip
    return render_to_string("jobs_timebook/stage_buttons.html", context, request)


def of_stage(request: HttpRequest, row: Any) -> str:
    hours = queries.hours_by_stage([row])[row.pk]
    context = {"stage": row, "hours": hours}
    return render_to_string("jobs_timebook/stage_panel.html", context, request)
