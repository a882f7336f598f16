"""What this room shows on the page of a stage: its parts."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.translation import ngettext

from . import lines


def of_stage(request: HttpRequest, stage: Any) -> str:
    found = lines.of_stage(stage)
    loose = sum(1 for x in found if x.in_hand > 0)
    card = stage.card
    context = {
        "stage": stage, "lines": found, "rights": request.user.rights,  # type: ignore[union-attr]
        "open": not (stage.finished_at or stage.declined_at or stage.removed_at or card.finished_at or card.cancelled_at),
        "in_hand": ngettext("%d part in hand", "%d parts in hand", loose) % loose if loose else "",
    }  # fmt: skip
    return render_to_string("jobs_draws/panel.html", context, request=request)
