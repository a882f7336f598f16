"""Every write of the catalogue. One function is one thing a person does, in one transaction."""

from .barcodes import add_barcode, remove_barcode
from .charges import add_charge, archive_charge, edit_charge
from .kits import put_in_kit, take_out_of_kit
from .links import add_alternative, remove_alternative, replace_part, undo_replacement
from .packages import add_package, remove_package
from .parts import DAYS_LIMIT, add_part, archive_part, check_values, edit_part, fix_units, restore_part
from .prices import add_price_rule, archive_price_rule, edit_price_rule

__all__ = [
    "DAYS_LIMIT", "add_alternative", "add_barcode", "add_charge", "add_package", "add_part", "add_price_rule",
    "archive_charge", "archive_part", "archive_price_rule", "check_values", "edit_charge", "edit_part", "edit_price_rule",
    "fix_units", "put_in_kit",
    "remove_alternative", "remove_barcode", "remove_package", "replace_part", "restore_part", "take_out_of_kit",
    "undo_replacement",
]  # fmt: skip
