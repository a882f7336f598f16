"""Writes of the label room: the papers it has. Printing writes nothing."""

from __future__ import annotations

from typing import Any

from shop.kernel import clock
from shop.kernel.errors import field_error
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from . import papers
from .models import LabelPaper

FIELDS = frozenset({"name", "is_roll", "rows", "cols", *papers.MEASURES})


@writes
def add_paper(*, by: Person, **values: Any) -> LabelPaper:
    """Add paper: name, is_roll, width and height (of the sheet, or of a roll's label), rows, cols, top, left, right, bottom,
    gap_x, gap_y in millimetres. Raises BadInput (a name in use, labels too small)."""
    row = LabelPaper(**_known(values))
    _settled(row)
    row.save(force_insert=True)
    record(by, "label-paper.added", row, name=row.name)
    return row


@writes
def edit_paper(pk: int, expect: int | None, *, by: Person, **values: Any) -> LabelPaper:
    """Change a paper at version `expect`. Raises NotFound, Stale, BadInput."""
    row = claim(LabelPaper, pk, expect, archived_at__isnull=True)
    values = _known(values)
    before = {name: getattr(row, name) for name in values}
    for name, value in values.items():
        setattr(row, name, value)
    _settled(row)
    save_next(row, **values)
    told = {k: [str(a), str(b)] for k, (a, b) in changes(before, values).items()}
    record(by, "label-paper.changed", row, changed=told)
    return row


@writes
def archive_paper(pk: int, expect: int | None, *, by: Person) -> LabelPaper:
    """The shop has this paper no longer. Raises NotFound, Stale."""
    row = claim(LabelPaper, pk, expect, archived_at__isnull=True)
    save_next(row, archived_at=clock.now(), name=f"{row.name[:40]} ({row.pk})")
    record(by, "label-paper.archived", row)
    return row


def _known(values: dict[str, Any]) -> dict[str, Any]:
    if unknown := set(values) - FIELDS:
        raise TypeError(f"label paper has no {sorted(unknown)}")
    return papers.check(values)


def _settled(row: LabelPaper) -> None:
    if LabelPaper.objects.filter(name__iexact=row.name).exclude(pk=row.pk).exists():
        raise field_error("name", f"There is already a paper “{row.name}”. Choose another name.", code="name-taken")
    for name in ("width", "height"):
        if getattr(row, name) is None:
            raise field_error(name, "Fill this in.", code="blank")
    papers.check_size(row.paper)
