"""Electronic invoices as a supplier of Saltmarsh sends them, written by the library in either syntax; each file differs only in
what a test says."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D
from typing import Any

from facturx import generate_xml

from inventory.buying import actions
from inventory.buying.models import IncomingInvoice
from shop.kernel import clock
from shop.kernel.rounding import round_money
from shop.people.models import Person

FLAVORS = {"cii": "factur-x", "ubl": "ubl-2.1"}
VAT_NO = "BE0203201340"


def line(net: str, quantity: str = "10", price: str = "21.40", unit: str = "C62", **terms: Any) -> dict[str, Any]:
    """One line of standard-rated goods; `terms` are more business terms ("BT-155")."""
    return {
        "BT-129": quantity, "BT-130": unit, "BT-131": net, "BT-146": price, "BT-151": "S", "BT-152": "21",
        "BT-153": "Head gasket, B2",
    } | {name.replace("_", "-"): value for name, value in terms.items()}  # fmt: skip


def xml(
    *lines: dict[str, Any], syntax: str = "cii", number: str = "R-100", seller: str = "Gullhaven Seals", vat_no: str = VAT_NO,
    charge: str = "", allowance: str = "", dated_on: date | None = None, check: bool = True, **terms: Any,
) -> bytes:  # fmt: skip
    """A file whose totals add up; `terms` win over them ("BT_112"), and `check` asks the schema."""
    rows = [{"BT-126": str(n)} | x for n, x in enumerate(lines, 1)]
    more, less = D(charge or "0"), D(allowance or "0")
    whole = sum((D(x["BT-131"]) for x in rows), D(0))
    net = whole + more - less
    tax = round_money(net * D("0.21"), "EUR")
    day = dated_on or clock.today()
    rate = {"vat_category_code": "S", "vat_rate": "21"}
    found: dict[str, Any] = {
        "BT-1": number, "BT-2": day, "BT-72": day, "BT-3": "380", "BT-5": "EUR", "BT-9": day,
        "BG-4": {"name": seller, "country_code": "BE", "city": "Gullhaven", "vat_identifier": vat_no},
        "BG-7": {"name": "Saltmarsh Engine Works", "country_code": "BE", "city": "Saltmarsh"},
        "BT-106": f"{whole:.2f}", "BT-109": f"{net:.2f}", "BT-110": f"{tax:.2f}", "BT-112": f"{net + tax:.2f}",
        "BT-115": f"{net + tax:.2f}",
        "BG-23": [{"BT-116": f"{net:.2f}", "BT-117": f"{tax:.2f}", "BT-118": "S", "BT-119": "21"}],
        "BG-25": rows,
    }  # fmt: skip
    if charge:
        found |= {"BG-21": [{"amount": charge, "reason": "Freight", "reason_code": "FC"} | rate], "BT-108": charge}
    if allowance:
        found |= {
            "BG-20": [{"amount": allowance, "reason": "Discount", "reason_code": "95"} | rate],
            "BT-107": allowance,
        }
    found |= {name.replace("_", "-"): value for name, value in terms.items()}
    made: bytes = generate_xml(found, flavor=FLAVORS[syntax], level="en16931", check_xsd=check, check_schematron=None)
    return made


def kept(by: Person, content: bytes, name: str = "R-100.xml") -> IncomingInvoice:
    return actions.keep_einvoice(actions.read_einvoice(name, content), by=by)
