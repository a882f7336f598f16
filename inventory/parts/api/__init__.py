"""/api/v1/parts/ and what belongs to a part."""

from __future__ import annotations

from typing import Any

from .charges import PartCharges
from .kits import KitParts
from .links import Alternatives, Barcodes, Replacements
from .packages import Packages
from .parts import Parts
from .prices import PriceRules


def register(router: Any) -> None:
    router.register("parts", Parts, basename="parts")
    router.register("barcodes", Barcodes, basename="barcodes")
    router.register("replacements", Replacements, basename="replacements")
    router.register("alternatives", Alternatives, basename="alternatives")
    router.register("packages", Packages, basename="packages")
    router.register("kit-parts", KitParts, basename="kit-parts")
    router.register("part-charges", PartCharges, basename="part-charges")
    router.register("price-rules", PriceRules, basename="price-rules")
