"""Every write of the buying room. One function is one thing a person does, in one transaction."""

from .billing import Billed, record_supplier_invoice
from .counting import (
    accept_over,
    add_receipt_line,
    discard_receipt,
    edit_receipt,
    edit_receipt_line,
    open_receipt,
    remove_receipt_line,
)
from .crediting import Credited, record_supplier_credit
from .incoming import Read, keep_einvoice, name_supplier, read_einvoice, set_aside_einvoice, take_einvoice
from .offers import add_offer, archive_offer, edit_offer, restore_offer
from .orders import (
    add_order_line,
    add_to_order,
    discard_order,
    draft_order,
    edit_order,
    edit_order_line,
    remove_order_line,
)
from .receiving import post_receipt, send_back
from .scanning import fill_receipt, scan_receipt_line
from .sending import chase_order, close_order, close_order_line, confirm_order, deliver_order, send_order
from .suppliers import add_supplier, archive_supplier, check_values, edit_supplier, restore_supplier

__all__ = [
    "Billed",
    "Credited",
    "Read",
    "accept_over",
    "add_offer",
    "add_order_line",
    "add_receipt_line",
    "add_supplier",
    "add_to_order",
    "archive_offer",
    "archive_supplier",
    "chase_order",
    "check_values",
    "close_order",
    "close_order_line",
    "confirm_order",
    "deliver_order",
    "discard_order",
    "discard_receipt",
    "draft_order",
    "edit_offer",
    "edit_order",
    "edit_order_line",
    "edit_receipt",
    "edit_receipt_line",
    "edit_supplier",
    "fill_receipt",
    "keep_einvoice",
    "name_supplier",
    "open_receipt",
    "post_receipt",
    "read_einvoice",
    "record_supplier_credit",
    "record_supplier_invoice",
    "remove_order_line",
    "remove_receipt_line",
    "restore_offer",
    "restore_supplier",
    "scan_receipt_line",
    "send_back",
    "send_order",
    "set_aside_einvoice",
    "take_einvoice",
]  # fmt: skip
