"""The credit notes that the tests of incoming ones are made of keep the official EN 16931 rules (Schematron of the
ConnectingEurope/eInvoicing-EN16931 release, as in test_outside_einvoice)."""

from __future__ import annotations

import pytest

from tests.factories import einvoices as files

from .test_outside_einvoice import SYNTAXES, broken


@pytest.mark.parametrize("syntax", ["cii", "ubl"])
def test_they_keep_the_rules(tmp_path, syntax):
    made = files.xml(
        files.line("42.80", "2", BT_155="GH-0041"), syntax=syntax, number="C-7", charge="5.00", BT_3="381",
        BG_3=[{"BT-25": "R-100"}], BT_9=None, BT_20="Set off",
    )  # fmt: skip
    file = tmp_path / f"{syntax}.xml"
    file.write_bytes(made)
    assert (b"CreditNote" in made) == (syntax == "ubl")
    assert broken(SYNTAXES[syntax][1], [file]) == {file.name: []}
