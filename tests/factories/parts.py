from __future__ import annotations

from typing import Any

from inventory.parts import actions
from inventory.parts.models import Part
from shop.people.models import Person


def part(by: Person, number: str = "GKT-041", name: str = "Head gasket, B2", kind: str = "gasket", **more: Any) -> Part:
    """A part of the catalogue; a head gasket counted in pieces unless said otherwise. `barcode`: its only one."""
    return actions.add_part(by=by, number=number, name=name, kind=kind, **coded(more))


def sealant(by: Person, number: str = "SEA-070", **more: Any) -> Part:
    """Drawn by the millilitre, 70 to a tube."""
    values: dict[str, Any] = {"unit": "MLT", "shelf_life_days": 540, "open_life_days": 30} | more
    return actions.add_part(by=by, number=number, name="Flange sealant", kind="measured", **coded(values))


def coded(values: dict[str, Any]) -> dict[str, Any]:
    code = values.pop("barcode", "")
    return values | {"barcodes": [code]} if code else values
