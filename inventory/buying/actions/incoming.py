"""A supplier's electronic invoice comes, is looked at, and is recorded as their bill with the file kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import IntegrityError

from shop.documents import actions as documents
from shop.documents import uploads
from shop.kernel import clock
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.identity import clean_vat
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import einvoice, einvoice_xml, incoming, recognising
from ..einvoice import EInvoice
from ..models import IncomingInvoice, Supplier, SupplierInvoice
from ..recognising import Assigned
from .billing import Billed, record_supplier_invoice
from .crediting import Credited, record_supplier_credit


@dataclass(frozen=True)
class Read:
    """A file that was read, and what it states."""

    file: uploads.Checked
    stated: EInvoice


def read_einvoice(name: str, content: bytes) -> Read:
    """Read a file before anything is written: XML, or a PDF with it inside. Raises BadInput at "file"."""
    if not content:
        raise field_error("file", "This file is empty. Choose it again.", code="empty-file")
    if content.startswith(b"%PDF-"):
        found = Read(uploads.inspect(name, content), einvoice_xml.read(content))
    else:
        stated = einvoice_xml.read(content)
        found = Read(uploads.as_xml(name, content), stated)
    if not clock.can_be_meant(found.stated.dated_on):
        raise field_error("file", einvoice.wrong_day(found.stated), code="bad-field")
    return found


@writes
def keep_einvoice(found: Read, *, by: Person) -> IncomingInvoice:
    """Keep an electronic invoice until it is taken. One that came before is answered, also if it was set aside: it waits again.
    Raises Refused."""
    row = IncomingInvoice.objects.select_for_update(no_key=True).filter(sha256=found.file.sha256).first()
    if row is not None:
        if row.set_aside_at is not None:
            row.set_aside_at = None
            row.save(update_fields=["set_aside_at"])
            record(by, "incoming.again", row, number=row.number)
        return row
    stated = found.stated
    row = IncomingInvoice(
        sha256=found.file.sha256, supplier=incoming.find_supplier(stated.seller), seller=stated.seller.name,
        number=clean_line(stated.number, field="file", required=True, max_length=60), dated_on=stated.dated_on,
        currency=stated.currency, total_net=stated.net, at=clock.now(), by=by,
    )  # fmt: skip
    try:
        row.save(force_insert=True)
    except IntegrityError as error:
        raise Refused("Somebody else sent this file just now. Look at the list.", code="just-now") from error
    documents.add_files("incominginvoice", row.pk, [found.file], by=by)
    record(by, "incoming.kept", row, number=row.number, seller=row.seller)
    return row


@writes
def name_supplier(pk: int, *, by: Person, supplier_id: int) -> IncomingInvoice:
    """Say whose invoice it is, where the file's VAT number and name didn't. Raises NotFound, BadInput, Refused."""
    row = _held(pk)
    supplier = Supplier.objects.filter(pk=supplier_id, archived_at__isnull=True).first()
    if supplier is None:
        raise field_error("supplier_id", "There is no such supplier.", code="unknown-supplier")
    number = clean_vat(einvoice_xml.read(incoming.content_of(row)).seller.vat_no)
    if number and supplier.vat_no and number != supplier.vat_no:
        raise field_error(
            "supplier_id", f"It states the VAT number {number}, {supplier.name} has {supplier.vat_no}. Ask them which is right.",
            code="vat-no",
        )  # fmt: skip
    if row.supplier_id != supplier.pk:
        row.supplier = supplier
        row.save(update_fields=["supplier"])
        record(by, "incoming.named", row, number=row.number, supplier=supplier.name)
    return row


@writes
def take_einvoice(pk: int, *, by: Person, lines: Sequence[Assigned] = (), note: str = "") -> SupplierInvoice:
    """Record it as the supplier's bill, or as their credit note over the bill it names, its file kept there too. `lines` say what its lines are for; a line that isn't named is for
    what is proposed. Every amount is the one the file states.

    Raises NotFound, BadInput, Refused: taken before, set aside, what stops it (wrong sums, a credit note over an unknown
    invoice, another currency, a number recorded before ...), a line that is for nothing.
    """
    row = _held(pk)
    look = incoming.look_at(row)
    if look.stops:
        raise Refused(" ".join(x.text.rstrip(".") + "." for x in look.stops), code=look.stops[0].code.lower())
    named = {x.position for x in lines}
    given = [*lines, *(x for x in look.proposed if x.position not in named)]
    stated = look.stated
    if stated.is_credit:
        given = recognising.with_effects(stated, given, look.creditable)
    whole = recognising.add_up(stated, given, {x.pk: x.price_per for x in look.candidates})
    if not whole.lines:
        raise field_error("lines", "Nothing that was received is charged by it. Record it by hand.", code="no-lines")
    assert row.supplier_id is not None  # noqa: S101 - without one it was refused
    bill = _credit(look, whole, note, by) if stated.is_credit else record_supplier_invoice(
        by=by, supplier_id=row.supplier_id, number=stated.number, dated_on=stated.dated_on, due_on=einvoice.due_day(stated),
        lines=[Billed(x.receipt_line_id, x.quantity, x.price) for x in whole.lines], freight=whole.freight, duty=whole.duty, allowance=whole.allowance,
        total=stated.net, tax=stated.tax, note=note,
    )  # fmt: skip
    row.bill = bill
    row.save(update_fields=["bill"])
    documents.keep_again("supplierinvoice", bill.pk, incoming.file_of(row), by=by)
    record(by, "incoming.taken", row, number=row.number, bill_id=bill.pk)
    return bill


def _credit(look: incoming.Look, whole: recognising.Whole, note: str, by: Person) -> SupplierInvoice:
    """As the credit note over the invoice it names."""
    stated = look.stated
    assert look.incoming.supplier is not None  # noqa: S101 - without one it was refused
    bill = incoming.credited_bill(look.incoming.supplier, stated)
    assert bill is not None  # noqa: S101 - without one it was refused
    return record_supplier_credit(
        bill.pk, by=by, number=stated.number, dated_on=stated.dated_on, lines=[Credited(*x) for x in whole.lines],
        freight=whole.freight, duty=whole.duty, allowance=whole.allowance, total=stated.net, tax=stated.tax, note=note,
    )  # fmt: skip


@writes
def set_aside_einvoice(pk: int, *, by: Person) -> IncomingInvoice:
    """It is not ours, or was recorded by hand. It stays in store with its file. Raises NotFound, Refused."""
    row = _held(pk)
    row.set_aside_at = clock.now()
    row.save(update_fields=["set_aside_at"])
    record(by, "incoming.aside", row, number=row.number)
    return row


def _locked(pk: int) -> IncomingInvoice | None:
    return IncomingInvoice.objects.select_for_update(no_key=True).filter(pk=pk).first()


def _held(pk: int) -> IncomingInvoice:
    """The invoice, locked, still waiting."""
    row = _locked(pk)
    if row is None:
        raise NotFound("There is no such incoming invoice.")
    if row.bill_id is not None:
        raise Refused(
            f"{row.number} was recorded already. Look at the supplier's invoices.", code="taken", bill_id=row.bill_id
        )
    if row.set_aside_at is not None:
        raise Refused(f"{row.number} was set aside. Send the file again to take it.", code="aside")
    return row
