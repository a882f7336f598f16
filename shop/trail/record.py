"""The explicit call every action makes: `record(by, "card.opened", card)`."""

from __future__ import annotations

from contextvars import ContextVar
from typing import Any

from django.db import models, transaction

from shop.kernel import clock, writing

from . import wake
from .models import OutboxRow, TrailRow

request_id: ContextVar[str] = ContextVar("request_id", default="")


def record(
    by: Any,
    verb: str,
    subject: models.Model,
    *,
    root: models.Model | None = None,
    **detail: object,
) -> None:
    """Write down that `by` (a Person, or None for the system) did `verb` to `subject`.

    `root` is what the row belongs to in a history (a stage's card). `detail` holds old and new values, JSON-able.
    Inserted with all rows of this write just before its commit; only inside an action.
    """
    root = root or subject
    writing.before_commit(
        _insert_trail,
        TrailRow(
            at=clock.now(), by=by, verb=verb,
            subject=kind_of(subject), subject_id=subject.pk, root=kind_of(root), root_id=root.pk,
            detail=detail, request_id=request_id.get(),
        ),
    )  # fmt: skip


def announce(topic: str, *, after: Any = None, **payload: object) -> None:
    """Queue a side effect for delivery after commit. `after` is an aware datetime to wait for."""
    now = clock.now()
    writing.before_commit(_insert_outbox, OutboxRow(topic=topic, payload=payload, created_at=now, due_at=after or now))


def kind_of(row: models.Model | type[models.Model]) -> str:
    """The short name of a table in trail, attachments and links: its model's name in lower case."""
    return str(row._meta.model_name)


def changes(before: dict[str, Any], after: dict[str, Any]) -> dict[str, list[Any]]:
    """{field: [old, new]} for the fields that differ."""
    return {k: [before.get(k), v] for k, v in after.items() if before.get(k) != v}


def _insert_trail(rows: list[Any]) -> None:
    writing.insert(rows)


def _insert_outbox(rows: list[Any]) -> None:
    writing.insert(rows)
    ring_after_commit()


def ring_after_commit() -> None:
    """Wake who drains the outbox once this write is committed."""
    transaction.on_commit(wake.ring)
