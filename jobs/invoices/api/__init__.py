"""/api/v1/invoices/, /invoice-lines/, /deposits/, /payments/, /refunds/, /allocations/, /balances/,
/card-outcomes/, /cores-out/, /core-returns/, /core-hand-ins/"""

from __future__ import annotations

from typing import Any

from .cores import CoreHandIns, CoreReturns, CoresOut
from .deposits import Deposits
from .invoices import InvoiceLines, Invoices
from .money import Allocations, Balances, Payments, Refunds
from .outcome import CardOutcomes


def register(router: Any) -> None:
    router.register("invoices", Invoices, basename="invoices")
    router.register("invoice-lines", InvoiceLines, basename="invoice-lines")
    router.register("deposits", Deposits, basename="deposits")
    router.register("payments", Payments, basename="payments")
    router.register("refunds", Refunds, basename="refunds")
    router.register("allocations", Allocations, basename="allocations")
    router.register("balances", Balances, basename="balances")
    router.register("card-outcomes", CardOutcomes, basename="card-outcomes")
    router.register("cores-out", CoresOut, basename="cores-out")
    router.register("core-returns", CoreReturns, basename="core-returns")
    router.register("core-hand-ins", CoreHandIns, basename="core-hand-ins")
