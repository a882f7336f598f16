"""Blocks that several documents share: the business, the other party, the machine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shop.documents.fields import Text

Mark = Literal["", "draft", "copy", "cancelled"]
"""Printed large across every page, in the document's language."""


@dataclass(frozen=True)
class Bank:
    """Where to pay. `iban` is grouped for print by the caller or not at all."""

    iban: Text
    bic: Text = ""
    name: Text = ""
    holder: Text = ""


@dataclass(frozen=True)
class Business:
    """The shop as its letterhead shows it (Art. 226 (3), (5): name, address, VAT number)."""

    name: Text
    address: tuple[Text, ...]
    country: Text = ""
    strapline: Text = ""
    phone: Text = ""
    email: Text = ""
    website: Text = ""
    vat_no: Text = ""
    tax_no: Text = ""
    registration: Text = ""
    bank: Bank | None = None
    footer_note: Text = ""
    is_demo: bool = False
    """Prints a note on every page that business, people and figures are invented."""


@dataclass(frozen=True)
class Party:
    """Customer or supplier (Art. 226 (4), (5))."""

    name: Text
    address: tuple[Text, ...] = ()
    contact: Text = ""
    vat_no: Text = ""
    number: Text = ""
    phone: Text = ""
    email: Text = ""


@dataclass(frozen=True)
class Machine:
    """What is worked on. `meter` is hours or distance run with its unit, already worded."""

    name: Text
    serial: Text = ""
    year: Text = ""
    meter: Text = ""
    note: Text = ""
