"""What each kind of table is: its columns, how a row is checked before anything is written, how it is written and read back.

A row is checked by the rules of the room that owns it; what only shows at the write (somebody else was quicker) is
reported then.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, time
from decimal import Decimal
from typing import Any

from inventory.buying import actions as buying
from inventory.buying.models import Supplier
from inventory.parts import actions as parts
from inventory.parts.barcodes import read
from inventory.parts.models import Barcode, Part
from inventory.stock import actions as stock
from inventory.stock.actions.receiving import Arrival
from inventory.stock.models import Balance, Bin
from jobs.machines import actions as machines
from jobs.machines.entries import check_customer, check_machine, check_usage
from jobs.machines.models import Customer, Machine
from shop.kernel import clock, writing
from shop.kernel.errors import BadInput, DomainError, NotFound, field_error
from shop.kernel.quantity import positive
from shop.people.models import Person

from .columns import Column, day, flag, lower, number, several, text, upper, whole, words

Values = dict[str, Any]


@dataclass
class Known:
    """What is there already, read once per file and added to row by row, so that the file can't double itself."""

    keys: set[str] = field(default_factory=set)
    parts: dict[str, Part] = field(default_factory=dict)
    bins: dict[str, int] = field(default_factory=dict)
    customers: dict[str, int] = field(default_factory=dict)
    barcodes: set[str] = field(default_factory=set)


def one_by_one(
    write: Callable[[Values, Known, Person], object],
) -> Callable[[Sequence[Values], Known, Person], list[DomainError | None]]:
    """Write rows each on its own: what one is refused for keeps no other out."""

    def write_all(rows: Sequence[Values], known: Known, by: Person) -> list[DomainError | None]:
        refused: list[DomainError | None] = []
        for values in rows:
            try:
                writing.attempt(lambda values=values: write(values, known, by))
            except DomainError as error:
                refused.append(error)
            else:
                refused.append(None)
        return refused

    return write_all


@dataclass(frozen=True)
class Kind:
    name: str
    title: str
    right: str
    columns: tuple[Column, ...]
    know: Callable[[], Known]
    check: Callable[[Values, Known], None]  # raises BadInput
    write: Callable[[Sequence[Values], Known, Person], list[DomainError | None]]  # what each row was refused for
    export: Callable[[], Iterable[list[Any]]]
    hint: str = ""


def _once(known: Known, key: str, column: str, what: str) -> None:
    folded = key.strip().lower()
    if folded in known.keys:
        raise field_error(column, f"{what} “{key}” is there already, here or in an earlier row. Take this row out.")
    known.keys.add(folded)


# --- parts ---------------------------------------------------------------------------------------------------

PART_COLUMNS = (
    Column("number", text, required=True), Column("name", text, required=True),
    Column("kind", lower, required=True, hint="component, gasket, fastener, measured or sundry"),
    Column("unit", upper, hint="C62 piece, MLT millilitre, LTR litre; empty: C62"),
    Column("single_use", flag, hint="yes or no"), Column("sale_price", number, hint="per unit, without tax"),
    Column("tax_code", text), Column("barcode", several, hint="several: with | between"), Column("shelf_life_days", whole), Column("open_life_days", whole),
    Column("hazards", words, hint="H and P codes, such as H225 H319"), Column("storage_note", text),
    Column("reorder_point", number), Column("note", text),
)  # fmt: skip


def _known_parts() -> Known:
    known = Known({n.lower() for n in Part.objects.values_list("number", flat=True)})
    known.barcodes = set(Barcode.objects.values_list("key", flat=True))
    return known


def _check_part(values: Values, known: Known) -> None:
    parts.check_values({k: v for k, v in values.items() if k != "barcode"})
    _once(known, values["number"], "number", "The part")
    for text_ in values.get("barcode", ()):
        code = read(text_, field="barcode")
        if code.key in known.barcodes:
            raise field_error("barcode", f"The barcode {code.code} belongs to another part, here or in an earlier row.")
        known.barcodes.add(code.key)


def _write_part(values: Values, known: Known, by: Person) -> None:
    parts.add_part(by=by, barcodes=values.get("barcode", ()), **{k: v for k, v in values.items() if k != "barcode"})


def _export_parts() -> Iterable[list[Any]]:
    names = [c.name for c in PART_COLUMNS]
    rows = Part.objects.filter(archived_at__isnull=True).order_by("number").prefetch_related("barcodes")
    for part in rows.iterator(chunk_size=2000):
        row = [getattr(part, n, None) for n in names]
        row[names.index("barcode")] = "|".join(b.code for b in part.barcodes.all())
        row[names.index("hazards")] = " ".join(part.hazards)
        row[names.index("single_use")] = "yes" if part.single_use else "no"
        yield row


# --- suppliers -----------------------------------------------------------------------------------------------

SUPPLIER_COLUMNS = (
    Column("name", text, required=True), Column("account_no", text), Column("email", text), Column("phone", text),
    Column("street", text), Column("postcode", text), Column("city", text),
    Column("country", upper, hint="two letters, such as IE"), Column("vat_no", text), Column("lead_days", whole),
    Column("note", text),
)  # fmt: skip


def _check_supplier(values: Values, known: Known) -> None:
    buying.check_values(dict(values))
    _once(known, values["name"], "name", "The supplier")


def _export_suppliers() -> Iterable[list[Any]]:
    names = [c.name for c in SUPPLIER_COLUMNS]
    for supplier in Supplier.objects.filter(archived_at__isnull=True).order_by("name", "id"):
        yield [getattr(supplier, n) for n in names]


# --- customers -----------------------------------------------------------------------------------------------

CUSTOMER_COLUMNS = (
    Column("name", text, required=True), Column("kind", lower, hint="person or firm; empty: person"),
    Column("contact", text), Column("email", text), Column("phone", text), Column("street", text),
    Column("postcode", text), Column("city", text), Column("country", upper, hint="two letters, such as IE"),
    Column("vat_no", text), Column("language", lower, hint="en or de; empty: en"), Column("customer_class", text),
    Column("payment_days", whole), Column("mail_consent", flag, hint="yes: agreed to be mailed"), Column("note", text),
)  # fmt: skip


def _customer_key(values: Mapping[str, Any]) -> str:
    return "|".join(str(values.get(n) or "").strip().lower() for n in ("name", "postcode", "email"))


def _known_customers() -> Known:
    rows = Customer.objects.filter(archived_at__isnull=True).values("name", "postcode", "email")
    return Known({_customer_key(row) for row in rows})


def _check_customer(values: Values, known: Known) -> None:
    check_customer({k: v for k, v in values.items() if k != "mail_consent"})
    key = _customer_key(values)
    if key in known.keys:
        raise field_error(
            "name", f"“{values['name']}” with this postcode and e-mail is there already, here or in an earlier row."
        )
    known.keys.add(key)


def _export_customers() -> Iterable[list[Any]]:
    names = [c.name for c in CUSTOMER_COLUMNS]
    for customer in Customer.objects.filter(archived_at__isnull=True).order_by("id").iterator(chunk_size=2000):
        yield [
            ("yes" if customer.mail_consent_at else "no") if n == "mail_consent" else getattr(customer, n)
            for n in names
        ]


# --- machines ------------------------------------------------------------------------------------------------

MACHINE_COLUMNS = (
    Column("customer", text, required=True, hint="name as it is here"), Column("kind", text, required=True),
    Column("maker", text), Column("model", text), Column("serial_no", text), Column("year", whole),
    Column("usage_unit", upper, hint="HUR hours, KMT km, SMI miles"), Column("usage", number, hint="what the meter shows"),
    Column("note", text),
)  # fmt: skip


def _known_owners() -> Known:
    known = Known()
    doubled: set[str] = set()
    for pk, name in Customer.objects.filter(archived_at__isnull=True).order_by("id").values_list("pk", "name"):
        key = name.strip().lower()
        if key in known.customers:
            doubled.add(key)
        known.customers[key] = pk
    for key in doubled:
        known.customers[key] = 0
    return known


def _owner(values: Values, known: Known) -> int:
    pk = known.customers.get(values["customer"].strip().lower())
    if pk is None:
        raise field_error("customer", f"There is no customer “{values['customer'][:60]}”. Import the customers first.")
    if pk == 0:
        raise field_error(
            "customer", f"Two customers are called “{values['customer'][:60]}”. Add this machine by hand."
        )
    return pk


def _machine_values(values: Values) -> Values:
    return {k: v for k, v in values.items() if k not in ("customer", "usage")}


def _check_machine(values: Values, known: Known) -> None:
    _owner(values, known)
    check_machine(_machine_values(values), this_year=clock.today().year)
    if values.get("usage") is not None:
        try:
            check_usage(values["usage"])
        except BadInput as error:
            raise field_error("usage", error.message) from error


def _write_machine(values: Values, known: Known, by: Person) -> None:
    machine = machines.add_machine(
        by=by, customer_id=_owner(values, known), despite_duplicates=True, **_machine_values(values)
    )
    if values.get("usage") is not None:
        machines.read_usage(machine.pk, by=by, value=values["usage"], read_at=clock.now())


def _export_machines() -> Iterable[list[Any]]:
    rows = Machine.objects.filter(archived_at__isnull=True).select_related("customer").prefetch_related("readings")
    for m in rows.order_by("id").iterator(chunk_size=1000):
        last = next(iter(m.readings.all()), None)
        yield [
            m.customer.name, m.kind, m.maker, m.model, m.serial_no, m.year, m.usage_unit, last.value if last else None,
            m.note,
        ]  # fmt: skip


# --- opening stock -------------------------------------------------------------------------------------------

STOCK_COLUMNS = (
    Column("part", text, required=True, hint="part number"), Column("bin", text, required=True, hint="bin code"),
    Column("quantity", number, required=True, hint="in the part's unit"),
    Column("unit_cost", number, required=True, hint="per unit, without tax"), Column("batch", text),
    Column("expires_on", day), Column("received_on", day), Column("source", text),
)  # fmt: skip


def _known_shelf() -> Known:
    known = Known()
    known.parts = {p.number.lower(): p for p in Part.objects.filter(archived_at__isnull=True)}
    seen: set[str] = set()
    for pk, code in Bin.objects.filter(archived_at__isnull=True).values_list("pk", "code"):
        key = code.lower()
        known.bins[key] = 0 if key in seen else pk
        seen.add(key)
    return known


def _place(values: Values, known: Known) -> tuple[Part, int]:
    part = known.parts.get(values["part"].lower())
    if part is None:
        raise field_error("part", f"There is no part “{values['part'][:40]}”. Import the parts first.")
    bin_id = known.bins.get(values["bin"].lower())
    if not bin_id:
        raise field_error(
            "bin", f"There is no bin “{values['bin'][:24]}”, or there are two on different sites. Make the bin first."
        )
    return part, bin_id


def _check_stock(values: Values, known: Known) -> None:
    part, _ = _place(values, known)
    positive(values["quantity"], part.unit)
    if values["unit_cost"] < 0:
        raise field_error("unit_cost", "A cost can't be below zero. Give 0 for what was free.")
    if values.get("expires_on") and values["expires_on"] < clock.today():
        raise field_error("expires_on", "This batch is expired already. Take it off the shelf and off this list.")
    if values.get("received_on") and values["received_on"] > clock.today():
        raise field_error("received_on", "This is in the future.")


def _arrival(values: Values, known: Known) -> Arrival:
    part, bin_id = _place(values, known)
    received = values.get("received_on")
    return Arrival(
        part_id=part.pk, bin_id=bin_id, quantity=values["quantity"], unit_cost=values["unit_cost"],
        batch=values.get("batch", ""), expires_on=values.get("expires_on"),
        source=values.get("source") or "opening stock",
        received_at=datetime.combine(received, time(12), tzinfo=UTC) if received and received < clock.today() else None,
    )  # fmt: skip


def _write_stock(rows: Sequence[Values], known: Known, by: Person) -> list[DomainError | None]:
    """All at once: a receipt for each row under one lock."""
    arrivals: dict[int, Arrival] = {}
    refused: dict[int, DomainError] = {}
    for place, values in enumerate(rows):
        try:
            arrivals[place] = _arrival(values, known)
        except DomainError as error:
            refused[place] = error
    if arrivals:
        outcomes = stock.receive_each(by=by, arrivals=list(arrivals.values()))
        refused |= {place: o.error for place, o in zip(arrivals, outcomes, strict=True) if o.error}
    return [refused.get(place) for place in range(len(rows))]


def _export_stock() -> Iterable[list[Any]]:
    rows = (
        Balance.objects.filter(on_hand__gt=Decimal(0))
        .select_related("part", "bin", "lot")
        .order_by("part__number", "id")
    )
    for b in rows.iterator(chunk_size=2000):
        yield [
            b.part.number, b.bin.code, b.on_hand, b.lot.cost, b.lot.batch, b.lot.expires_on,
            b.lot.received_at.date(), b.lot.source,
        ]  # fmt: skip


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("parts", "Parts", "parts.edit", PART_COLUMNS, _known_parts, _check_part,
             one_by_one(_write_part), _export_parts),
        Kind("stock", "Opening stock", "stock.receive", STOCK_COLUMNS, _known_shelf, _check_stock, _write_stock,
             _export_stock, "Parts and bins must be there already. Each row becomes a lot."),
        Kind("suppliers", "Suppliers", "buying.edit", SUPPLIER_COLUMNS,
             lambda: Known({n.lower() for n in Supplier.objects.values_list("name", flat=True)}), _check_supplier,
             one_by_one(lambda v, k, by: buying.add_supplier(by=by, **v)), _export_suppliers),
        Kind("customers", "Customers", "customers.edit", CUSTOMER_COLUMNS, _known_customers, _check_customer,
             one_by_one(lambda v, k, by: machines.add_customer(by=by, despite_duplicates=True, **v)), _export_customers),
        Kind("machines", "Machines", "machines.edit", MACHINE_COLUMNS, _known_owners, _check_machine, one_by_one(_write_machine),
             _export_machines, "Customers must be there already."),
    )
}  # fmt: skip
READS = {
    "parts": "parts.read", "stock": "costs.read", "suppliers": "buying.read", "customers": "customers.read",
    "machines": "customers.read",
}  # fmt: skip


def kind_of(name: str) -> Kind:
    """Raises NotFound for a kind that isn't offered."""
    if name not in KINDS:
        raise NotFound("There is no such table. Choose one of: " + ", ".join(KINDS) + ".")
    return KINDS[name]
