"""/api/v1/bins/, /lots/, /movements/, /stock/, /places/, /reservations/"""

from __future__ import annotations

from typing import Any

from .ledger import Movements, Places, Stock
from .lots import Lots
from .places import Bins, Reservations


def register(router: Any) -> None:
    router.register("bins", Bins, basename="bins")
    router.register("lots", Lots, basename="lots")
    router.register("movements", Movements, basename="movements")
    router.register("stock", Stock, basename="stock")
    router.register("places", Places, basename="places")
    router.register("reservations", Reservations, basename="reservations")
