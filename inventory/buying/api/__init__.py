"""/api/v1/suppliers/, /offers/, /purchase-orders/, /purchase-order-lines/,
/goods-receipts/, /goods-receipt-lines/, /supplier-invoices/, /incoming-invoices/"""

from __future__ import annotations

from typing import Any

from .bills import SupplierInvoices
from .incoming import IncomingInvoices
from .orders import OrderLines, PurchaseOrders
from .receipts import GoodsReceipts, ReceiptLines
from .suppliers import Offers, Suppliers


def register(router: Any) -> None:
    router.register("suppliers", Suppliers, basename="suppliers")
    router.register("offers", Offers, basename="offers")
    router.register("purchase-orders", PurchaseOrders, basename="purchase-orders")
    router.register("purchase-order-lines", OrderLines, basename="purchase-order-lines")
    router.register("goods-receipts", GoodsReceipts, basename="goods-receipts")
    router.register("goods-receipt-lines", ReceiptLines, basename="goods-receipt-lines")
    router.register("supplier-invoices", SupplierInvoices, basename="supplier-invoices")
    router.register("incoming-invoices", IncomingInvoices, basename="incoming-invoices")
