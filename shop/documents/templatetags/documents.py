"""{% load documents %}{% attachments "jobcard" card.pk %}: photos and files of something, with the form to add more."""

from __future__ import annotations

from typing import Any

from django import template

from shop.documents import queries
from shop.documents.subjects import SUBJECTS

register = template.Library()
SHOWN = 24


@register.inclusion_tag("shop_documents/attachments.html", takes_context=True)
def attachments(context: Any, subject: str, subject_id: int, whole: bool = False, empty: str = "") -> dict[str, Any]:
    """The newest files of one subject, and the form. `whole` shows those of everything below it (a card's stages).

    Adding comes back to the page it is on. Shows nothing to somebody who may not read the subject.
    """
    request = context["request"]
    rights = context.get("rights") or frozenset()
    allowed = SUBJECTS[subject].right in rights and "files.read" in rights
    rows: list[Any] = []
    if allowed:
        where: dict[str, Any] = (
            {"root": subject, "root_id": subject_id} if whole else {"subject": subject, "subject_id": subject_id}
        )
        rows = list(queries.attachments(request.user, **where)[: SHOWN + 1])
    return {
        "allowed": allowed,
        "may_add": allowed and "files.add" in rights,
        "items": queries.items(rows[:SHOWN]),
        "more": len(rows) > SHOWN,
        "subject": subject,
        "subject_id": subject_id,
        "next": request.get_full_path(),
        "empty": empty,
        "request": request,
    }
