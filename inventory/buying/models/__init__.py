"""Tables of buying, by subject."""

from .bills import SupplierInvoice, SupplierInvoiceLine
from .incoming import IncomingInvoice
from .orders import OrderLine, PurchaseOrder
from .receipts import GoodsReceipt, ReceiptLine, SentBack
from .suppliers import Offer, PriceBreak, Supplier

__all__ = [
    "GoodsReceipt", "IncomingInvoice", "Offer", "OrderLine", "PriceBreak", "PurchaseOrder", "ReceiptLine", "SentBack", "Supplier",
    "SupplierInvoice", "SupplierInvoiceLine",
]  # fmt: skip
