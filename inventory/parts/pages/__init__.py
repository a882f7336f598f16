"""Staff pages of the catalogue."""

from .charges import archive_charge, charges, edit_charge
from .kits import kit, take_out_of_kit
from .links import (
    add_alternative,
    barcodes,
    packages,
    remove_alternative,
    remove_barcode,
    remove_package,
    replace,
    undo_replacement,
)
from .parts import add_part, archive_part, edit_part, part, parts, restore_part
from .prices import add_price_rule, archive_price_rule, edit_price_rule, price_rules

__all__ = [
    "add_alternative", "add_part", "add_price_rule", "archive_charge", "archive_part", "archive_price_rule", "barcodes",
    "charges", "edit_charge", "edit_part", "edit_price_rule", "kit", "packages", "part", "parts", "price_rules", "remove_alternative", "remove_barcode",
    "remove_package", "replace", "restore_part", "take_out_of_kit", "undo_replacement",
]  # fmt: skip
