"""What this room shows on the page of a stage: its parts."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.translation import ngettext

from . import lines, queries, trace


def of_stage(request: HttpRequest, stage: Any) -> str:
    found = lines.of_stage(stage)
    loose = sum(1 for x in found if x.in_hand > 0)
    card = stage.card
    context = {
        "stage": stage, "lines": found, "rights": request.user.rights,  # type: ignore[union-attr]
        "open": not (stage.finished_at or stage.declined_at or stage.removed_at or card.finished_at or card.cancelled_at),
        "trays": queries.trays_of_stages([stage.pk]).get(stage.pk, []),
        "in_hand": ngettext("%d part in hand", "%d parts in hand", loose) % loose if loose else "",
    }  # fmt: skip
    return render_to_string("jobs_draws/panel.html", context, request=request)


SHOWN = 20


def of_lot(request: HttpRequest, lot: Any) -> str:
    """The cards and machines it went into."""
    found = list(trace.went_to(lot.pk)[: SHOWN + 1])
    context = {"lot": lot, "draws": found[:SHOWN], "more": len(found) > SHOWN, "rights": request.user.rights}  # type: ignore[union-attr]
    return render_to_string("jobs_draws/lot_panel.html", context, request=request)


def of_machine(request: HttpRequest, machine: Any) -> str:
    """The lots that went into it, the last ones first."""
    found = list(trace.went_into(machine.pk)[: SHOWN + 1])
    context = {"draws": found[:SHOWN], "more": len(found) > SHOWN}
    return render_to_string("jobs_draws/machine_panel.html", context, request=request) if found else ""
