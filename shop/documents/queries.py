"""Reads of attachments, each for one person: what somebody may not read does not exist for them."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import reverse

from shop.kernel.errors import NotFound
from shop.people.models import Person

from .models import Attachment
from .subjects import SUBJECTS

INLINE = frozenset({"image/jpeg", "image/png", "image/webp"})
"""Shown in the browser; everything else is only ever downloaded."""


def live() -> QuerySet[Attachment]:
    """Attachments that are not put away."""
    return Attachment.objects.filter(archived_at__isnull=True)


def seen_by(person: Person) -> QuerySet[Attachment]:
    """Live attachments of subjects that `person` may read."""
    kinds = [kind for kind, subject in SUBJECTS.items() if subject.right in person.rights]
    return live().filter(subject__in=kinds).select_related("added_by")


def attachment(pk: int, person: Person) -> Attachment:
    """One attachment. Raises NotFound, also when it is not for this person."""
    found = seen_by(person).filter(pk=pk).first()
    if found is None:
        raise NotFound("There is no such file, or it is not for you.")
    return found


def attachments(
    person: Person,
    *,
    subject: str = "",
    subject_id: int | None = None,
    root: str = "",
    root_id: int | None = None,
) -> QuerySet[Attachment]:
    """Those of one subject, or of everything that belongs to a root (a card with its stages), newest first."""
    rows = seen_by(person)
    if subject:
        rows = rows.filter(subject=subject)
    if subject_id is not None:
        rows = rows.filter(subject_id=subject_id)
    if root:
        rows = rows.filter(root=root)
    if root_id is not None:
        rows = rows.filter(root_id=root_id)
    return rows.order_by("-id")


def for_customer(root: str, root_id: int) -> QuerySet[Attachment]:
    """Photos of something and all below it that the office ticked for the customer, in the order they were taken in."""
    return live().filter(root=root, root_id=root_id, shown_to_customer=True, media_type__in=INLINE).order_by("id")


def items(rows: Any) -> list[dict[str, Any]]:
    """Attachments as the `{% files %}` component of the page kit takes them."""
    return [
        {
            "pk": a.pk,
            "name": a.title or a.original_name,
            "caption": a.title,
            "original": a.original_name,
            "alt": a.title or f"Photo {a.original_name}",
            "url": reverse("documents:content", args=[a.pk]),
            "thumb": reverse("documents:thumbnail", args=[a.pk]) if a.thumbnail else "",
            "size": a.size,
            "when": a.added_at,
            "who": a.added_by.name if a.added_by else "",
            "photo": a.media_type in INLINE,
            "shown": a.shown_to_customer,
        }
        for a in rows
    ]
