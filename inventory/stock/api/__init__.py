"""/api/v1/bins/, /lots/, /movements/, /stock/, /stock-value/, /stock-value-months/, /places/, /reservations/, /revaluations/,
/counts/, /count-lines/, /count-tallies/"""

from __future__ import annotations

from typing import Any

from .counts import CountLines, Counts, CountTallies
from .ledger import Movements, Places, Stock
from .lots import Lots, Revaluations
from .places import Bins, Reservations
from .value import StockValue, StockValueMonths


def register(router: Any) -> None:
    router.register("bins", Bins, basename="bins")
    router.register("lots", Lots, basename="lots")
    router.register("movements", Movements, basename="movements")
    router.register("stock", Stock, basename="stock")
    router.register("places", Places, basename="places")
    router.register("counts", Counts, basename="counts")
    router.register("count-lines", CountLines, basename="count-lines")
    router.register("count-tallies", CountTallies, basename="count-tallies")
    router.register("revaluations", Revaluations, basename="revaluations")
    router.register("stock-value", StockValue, basename="stock-value")
    router.register("stock-value-months", StockValueMonths, basename="stock-value-months")
    router.register("reservations", Reservations, basename="reservations")
