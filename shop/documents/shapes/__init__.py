"""What each document states. One frozen dataclass per document; see `SHAPES` for template names.

A shape can be given as its dataclass or as a mapping of the same names with Decimals and dates as text,
which is how an issued document is kept. Amounts are net of VAT unless the name says otherwise and always in
the document's currency. Nothing here computes: every sum is handed over.
"""

from __future__ import annotations

from shop.documents.shapes.common import Bank, Business, Machine, Party
from shop.documents.shapes.labels import Label, Labels, Roll, Sheet
from shop.documents.shapes.letters import (
    AccountEntry,
    AgeBand,
    OpenInvoice,
    Recall,
    RecalledMachine,
    Reminder,
    Statement,
)
from shop.documents.shapes.priced import (
    Allowance,
    Deduction,
    Estimate,
    Invoice,
    Line,
    PurchaseOrder,
    Range,
    Reference,
    Section,
    Statutory,
    TaxRepresentative,
    Totals,
    VatRow,
)
from shop.documents.shapes.sheets import (
    BuildRecord,
    Gate,
    JobCard,
    LotFitted,
    PartNeeded,
    PickingList,
    PickLine,
    Reading,
    Signature,
    Stage,
    TighteningPass,
)

SHAPES: dict[str, type] = {
    "estimate": Estimate,
    "invoice": Invoice,
    "deposit_invoice": Invoice,
    "credit_note": Invoice,
    "debit_note": Invoice,
    "statement": Statement,
    "reminder": Reminder,
    "recall": Recall,
    "job_card": JobCard,
    "build_record": BuildRecord,
    "picking_list": PickingList,
    "purchase_order": PurchaseOrder,
    "labels": Labels,
}
"""Template name to the shape of its data."""

__all__ = [
    "SHAPES",
    "AccountEntry",
    "AgeBand",
    "Allowance",
    "Bank",
    "BuildRecord",
    "Business",
    "Deduction",
    "Estimate",
    "Gate",
    "Invoice",
    "JobCard",
    "Label",
    "Labels",
    "Line",
    "LotFitted",
    "Machine",
    "OpenInvoice",
    "PartNeeded",
    "Party",
    "PickLine",
    "PickingList",
    "PurchaseOrder",
    "Range",
    "Reading",
    "Recall",
    "RecalledMachine",
    "Reference",
    "Reminder",
    "Roll",
    "Section",
    "Sheet",
    "Signature",
    "Stage",
    "Statement",
    "Statutory",
    "TaxRepresentative",
    "TighteningPass",
    "Totals",
    "VatRow",
]
