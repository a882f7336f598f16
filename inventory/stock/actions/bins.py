from __future__ import annotations

from typing import Any

from django.db import IntegrityError

from shop.business.queries import site
from shop.kernel import clock
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.text import clean_line
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from ..models import Balance, Bin

_LINES = {"code": 24, "rack": 24, "name": 80}


@writes
def add_bin(
    *,
    by: Person,
    site_id: int,
    code: str,
    rack: str = "",
    name: str = "",
    kind: str = Bin.Kind.SHELF,
    keeper_id: int | None = None,
) -> Bin:
    """Add a place where parts lie. Raises NotFound (site), BadInput (a code in use there, an unknown kind or keeper)."""
    where = site(site_id)
    if where is None or where.archived_at:
        raise NotFound("There is no such site.")
    values = _checked({"code": code, "rack": rack, "name": name, "kind": kind, "keeper_id": keeper_id})
    _refuse_taken(site_id, values["code"], but=None)
    bin_ = Bin(site_id=site_id, **values)
    try:
        bin_.save(force_insert=True)
    except IntegrityError as error:
        raise _taken(values["code"]) from error
    record(by, "bin.added", bin_, code=bin_.code)
    return bin_


@writes
def edit_bin(pk: int, expect: int | None, *, by: Person, **values: Any) -> Bin:
    """Change a bin at version `expect`. Raises NotFound, Stale, BadInput, and Refused for making a bin that isn't empty
    a quarantine, or no longer one: move what lies there, so that the ledger shows it."""
    bin_ = claim(Bin, pk, expect, archived_at__isnull=True)
    values = _checked(values)
    if "code" in values:
        _refuse_taken(bin_.site_id, values["code"], but=pk)
    kind = values.get("kind", bin_.kind)
    if Bin.Kind.QUARANTINE in (kind, bin_.kind) and kind != bin_.kind:
        _refuse_filled(bin_, "What lies there would become free or blocked without a movement.")
    before = {name: getattr(bin_, name) for name in values}
    save_next(bin_, **values)
    record(by, "bin.changed", bin_, changed=changes(before, values))
    return bin_


@writes
def archive_bin(pk: int, expect: int | None, *, by: Person) -> Bin:
    """Take a bin out of use. Raises NotFound, Stale, and Refused while something lies in it."""
    bin_ = claim(Bin, pk, expect, archived_at__isnull=True)
    _refuse_filled(bin_, "A bin that is put away must be empty.")
    save_next(bin_, archived_at=clock.now())
    record(by, "bin.archived", bin_)
    return bin_


def _checked(values: dict[str, Any]) -> dict[str, Any]:
    unknown = set(values) - {*_LINES, "kind", "keeper_id"}
    if unknown:
        raise TypeError(f"a bin has no {sorted(unknown)}")
    for name, longest in _LINES.items():
        if name in values:
            values[name] = clean_line(values[name] or "", field=name, required=name == "code", max_length=longest)
    if "kind" in values and values["kind"] not in Bin.Kind.values:
        raise field_error("kind", "Choose one of: " + ", ".join(Bin.Kind.values) + ".", code="unknown-kind")
    keeper = values.get("keeper_id")
    if keeper is not None and not Person.objects.filter(pk=keeper, is_active=True).exists():
        raise field_error("keeper_id", "There is no such person.", code="unknown-person")
    return values


def _refuse_taken(site_id: int, code: str, *, but: int | None) -> None:
    if Bin.objects.filter(site_id=site_id, code__iexact=code).exclude(pk=but).exists():
        raise _taken(code)


def _taken(code: str) -> Exception:
    return field_error("code", f"There is already a bin {code} at this site.", code="code-taken")


def _refuse_filled(bin_: Bin, why: str) -> None:
    lying = list(Balance.objects.filter(bin=bin_, on_hand__gt=0).values_list("part__number", flat=True).distinct()[:4])
    if lying:
        named = ", ".join(lying[:3]) + (" and more" if len(lying) > 3 else "")
        raise Refused(f"In {bin_.code} lies {named}. {why} Move it first.", code="bin-not-empty")
