"""Reads of the reorder room."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet

from .models import Proposal, ReorderRule, ReorderRun

STATES = ("open", "ordered", "put-off")


def proposals(
    *, state: str = "open", site_id: int | None = None, part_id: int | None = None, supplier_id: int | None = None,
    kind: str = "",
) -> QuerySet[Proposal]:  # fmt: skip
    """Proposals with part, site and supplier; those nobody has decided unless `state` says otherwise."""
    rows = Proposal.objects.select_related("part", "site", "supplier", "run", "decided_by")
    rows = rows.filter(ordered_at__isnull=state != "ordered", put_off_at__isnull=state != "put-off")
    given: dict[str, Any] = {
        "site_id": site_id,
        "part_id": part_id,
        "supplier_id": supplier_id,
        "part__kind": kind or None,
    }
    return rows.filter(**{name: value for name, value in given.items() if value is not None})


def proposal(pk: int) -> Proposal | None:
    rows = Proposal.objects.select_related("part", "site", "supplier", "run", "decided_by")
    return rows.filter(pk=pk).first()


def runs() -> QuerySet[ReorderRun]:
    return ReorderRun.objects.select_related("by")


def run(pk: int) -> ReorderRun | None:
    return runs().filter(pk=pk).first()


def last_run() -> ReorderRun | None:
    return runs().order_by("-id").first()


def rules() -> QuerySet[ReorderRule]:
    return ReorderRule.objects.select_related("part")


def rule(pk: int) -> ReorderRule | None:
    return ReorderRule.objects.select_related("part").filter(pk=pk).first()
