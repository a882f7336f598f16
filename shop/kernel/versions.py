"""Stale edits are refused: every editable row carries a version that the editor names."""

from __future__ import annotations

from typing import Any, TypeVar

from django.db import models

from .errors import NotFound, Stale

M = TypeVar("M", bound=models.Model)


def claim(model: type[M], pk: int, expect: int | None, **filters: Any) -> M:
    """Lock row `pk` and check that it is still at version `expect` (None: whatever it is).

    Raises NotFound, or Stale naming the current version. Call `save_next` to write it.
    """
    row = model._default_manager.select_for_update(of=("self",), no_key=True).filter(pk=pk, **filters).first()
    if row is None:
        raise NotFound(f"There is no such {model._meta.verbose_name}.")
    refuse_stale(row, expect)
    return row


def refuse_stale(row: models.Model, expect: int | None) -> None:
    """Raises Stale, naming the current version, unless a locked row is still at version `expect` (None: whatever it is)."""
    current: int = row.version  # type: ignore[attr-defined]
    if expect is not None and current != expect:
        raise Stale(
            f"Somebody saved this {row._meta.verbose_name} while you were working on it. Look at what changed and "
            "save again.",
            current=current,
        )


def save_next(row: models.Model, **values: Any) -> None:
    """Set `values`, raise the version by one, validate lengths and choices, save."""
    for name, value in values.items():
        setattr(row, name, value)
    row.version += 1  # type: ignore[attr-defined]
    row.save(update_fields=[*values, "version"])
