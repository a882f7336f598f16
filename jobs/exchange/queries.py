from __future__ import annotations

from django.db.models import QuerySet

from .models import ImportRun


def runs() -> QuerySet[ImportRun]:
    """Imports, without the long lists of findings."""
    return ImportRun.objects.select_related("by").defer("findings", "refused", "bad_rows", "sample")


def run(pk: int) -> ImportRun | None:
    return ImportRun.objects.select_related("by").filter(pk=pk).first()
