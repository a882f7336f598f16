"""The main job over the REST API, from the counter to the hand-over, as one story. The clients are whatever speaks the
API: Django's test client, or real HTTP to real processes."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from pypdf import PdfReader


class Clients:
    """One client of the API for each role."""

    def __init__(self, *, owner: Any, office: Any, mechanic: Any, stores: Any) -> None:
        self.owner, self.office, self.mechanic, self.stores = owner, office, mechanic, stores


def ok(answer: Any, status: int) -> dict[str, Any]:
    assert answer.status_code == status, (answer.status_code, answer.content)
    return answer.json()


def made(client: Any, path: str, **body: Any) -> dict[str, Any]:
    return ok(client.post(path, body), 201)


def done(client: Any, path: str, **body: Any) -> dict[str, Any]:
    return ok(client.post(path, body), 200)


def items(client: Any, path: str, **query: Any) -> list[dict[str, Any]]:
    return ok(client.get(path, **query), 200)["items"]


def set_up_shop(by: Clients) -> None:
    """What invoices must state (Directive 2006/112/EC, Art. 226) and what an hour costs."""
    profile = ok(by.owner.get("business/"), 200)
    by.owner.patch(
        "business/",
        {"legal_name": "Saltmarsh Engine Works", "street": "4 Slip Road", "postcode": "Q12 SW45", "city": "Saltmarsh Quay",
         "country": "IE", "vat_no": "IE0000000W"},
    )  # fmt: skip
    assert profile["currency"] == "EUR"
    if not items(by.owner, "tax-rates/"):
        made(by.owner, "tax-rates/", code="standard", name="Standard (illustrative)", percent="23",
             valid_from="2024-01-01", is_default=True)  # fmt: skip
    if not items(by.owner, "labour-rates/"):
        made(by.owner, "labour-rates/", per_hour="68.00", valid_from="2024-01-01")


def take_through(by: Clients) -> dict[str, Any]:
    """A worn engine comes in and goes out rebuilt and paid. Answers what can be looked at afterwards."""
    # The shelf: a bin, two head gaskets from two deliveries, a tube of sealant.
    bin_id = made(by.stores, "bins/", code="A2", site_id=items(by.office, "sites/")[0]["id"])["id"]
    gasket = made(
        by.stores, "parts/", number="GKT-900", name="Head gasket", kind="gasket", single_use=True, sale_price="38.50"
    )["id"]
    sealant = made(
        by.stores, "parts/", number="CON-900", name="Jointing compound", kind="measured", unit="MLT", sale_price="0.24"
    )["id"]
    made(by.stores, "lots/", part_id=gasket, bin_id=bin_id, quantity="1", unit_cost="21.40", source="Gullhaven 1")
    made(by.stores, "lots/", part_id=gasket, bin_id=bin_id, quantity="2", unit_cost="22.00", source="Gullhaven 2")
    made(by.stores, "lots/", part_id=sealant, bin_id=bin_id, quantity="70", unit_cost="0.115", expires_on="2099-12-31")

    # The plan that the shop has for such a job.
    plan = made(
        by.owner, "plans/", code="TOP-900", name="Top-end rebuild",
        stages=[
            {"name": "Take off head", "kind": "strip", "standard_hours": "1.5",
             "gates": [{"text": "Ports covered", "when": "finish"}]},
            {"name": "Fit head", "kind": "assemble", "standard_hours": "2", "after": [1],
             "gates": [{"text": "Joint faces clean", "when": "start"}, {"text": "Nuts tightened in passes", "when": "finish"}],
             "parts": [{"part_id": gasket, "quantity": "1"}, {"part_id": sealant, "quantity": "12"}]},
        ],
    )  # fmt: skip

    # The machine comes in over the counter.
    customer = made(
        by.office, "customers/", kind="firm", name="Cockle Row Ferries", street="1 Example Quay", city="Saltmarsh Quay",
        country="IE", email="boats@cocklerow.example", mail_consent=True,
    )  # fmt: skip
    machine = made(
        by.office,
        "machines/",
        customer_id=customer["id"],
        kind="engine",
        maker="Brindlecote",
        model="B2",
        serial_no="B2-04417",
    )
    made(by.office, f"machines/{machine['id']}/readings/", value="6412", read_at=datetime.now(UTC).isoformat())
    card = made(
        by.office,
        "cards/",
        machine_id=machine["id"],
        complaint="Loses coolant. Oil looks like milk.",
        plan_ids=[plan["id"]],
    )
    assert card["state"] == "in-shop", card
    strip, fit = items(by.mechanic, "stages/", card_id=card["id"])

    # Finding out what is wrong may start; what is charged may not, before the customer has said yes.
    made_or_done(by.mechanic, f"stages/{strip['id']}/clock-on/")
    sign_all(by.mechanic, strip["id"])
    done(by.mechanic, f"stages/{strip['id']}/finish/")
    refused = by.mechanic.post(f"stages/{fit['id']}/clock-on/", {})
    assert (refused.status_code, refused.json()["type"]) == (409, "/api/problems/go-ahead-missing")

    # The estimate, and the customer's yes to all of it.
    estimate = made(by.office, "estimates/", card_id=card["id"])
    estimate = done(by.office, f"estimates/{estimate['id']}/issue/")
    assert estimate["number"].startswith("EST-")
    lines = items(by.office, "estimate-lines/", estimate_id=estimate["id"], limit=200)
    made(
        by.office, f"estimates/{estimate['id']}/go-ahead/", how="phone", said_by="Isla Penhale",
        said_at=datetime.now(UTC).isoformat(), answers=[{"line_id": line["id"], "accepted": True} for line in lines],
    )  # fmt: skip
    needs = {n["part_id"]: n for n in items(by.stores, "needs/", card_id=card["id"])}
    assert (needs[gasket]["kept"], needs[sealant]["kept"]) == ("1", "12")

    # The build: a trial fit spends the first gasket, another goes in for good.
    sign_all(by.mechanic, fit["id"], when="start")
    made_or_done(by.mechanic, f"stages/{fit['id']}/clock-on/")
    trial = made(by.mechanic, "draws/", stage_id=fit["id"], part_id=gasket, quantity="1")["draws"][0]
    assert trial["cost"] is None, trial  # a mechanic never sees it
    done(by.mechanic, f"draws/{trial['id']}/trial-fit/", quantity="1", note="Checked the bump clearance")
    final = made(by.mechanic, "draws/", stage_id=fit["id"], part_id=gasket, quantity="1")["draws"][0]
    done(by.mechanic, f"draws/{final['id']}/fit/", quantity="1")
    tube = made(by.mechanic, "draws/", stage_id=fit["id"], part_id=sealant, quantity="15")["draws"][0]
    done(by.mechanic, f"draws/{tube['id']}/fit/", quantity="12")
    early = by.office.post(f"stages/{fit['id']}/finish/", {})
    assert early.status_code == 403, early.content  # the bench finishes its own work
    sign_all(by.mechanic, fit["id"])
    done(by.mechanic, f"stages/{fit['id']}/finish/")
    done(by.office, f"cards/{card['id']}/finish/")

    # Three millilitres still lie at the bench: the invoice waits until they are back on the shelf.
    invoice = made(by.office, "invoices/", card_id=card["id"])
    loose = by.office.post(f"invoices/{invoice['id']}/issue/", {})
    assert loose.status_code == 409, loose.content
    done(by.mechanic, f"draws/{tube['id']}/return/", quantity="3")
    by.office.delete(f"invoices/{invoice['id']}/")
    invoice = made(by.office, "invoices/", card_id=card["id"])
    invoice = done(by.office, f"invoices/{invoice['id']}/issue/")
    assert invoice["number"].startswith("INV-")
    billed = {line["part_id"]: line for line in items(by.office, "invoice-lines/", invoice_id=invoice["id"], limit=200)}
    assert Decimal(billed[sealant]["quantity"]) == 12
    pdf = by.office.get(f"invoices/{invoice['id']}/pdf/")
    assert pdf.status_code == 200
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf.content)).pages)
    for expected in (invoice["number"], "IE0000000W", "Cockle Row Ferries", f"{Decimal(invoice['total_gross']):,.2f}"):
        assert expected in text, (expected, text)

    # Paid and handed over.
    made(
        by.office, "payments/", customer_id=customer["id"], amount=invoice["total_gross"], method="transfer",
        received_on=datetime.now(UTC).date().isoformat(),
        allocations=[{"invoice_id": invoice["id"], "amount": invoice["total_gross"]}],
    )  # fmt: skip
    assert ok(by.office.get(f"invoices/{invoice['id']}/"), 200)["state"].lower() == "paid"
    card = done(by.office, f"cards/{card['id']}/hand-over/")
    assert card["state"] == "handed-over", card

    # The shelf is right to the piece and the millilitre, and the card tells what happened.
    hand = {level["part_id"]: Decimal(level["on_hand"]) for level in items(by.stores, "stock/", limit=200)}
    assert (hand[gasket], hand[sealant]) == (1, 58)
    story = [row["what"] for row in items(by.office, f"cards/{card['id']}/history/", limit=200)]
    for expected in (
        "Fitted 1 of GKT-900 for trial",
        "Returned 3 of CON-900",
        "Signed “Ports covered”",
        "Handed the machine",
    ):
        assert any(expected in line for line in story), (expected, story)
    return {"card": card, "customer": customer, "estimate": estimate, "invoice": invoice}


def made_or_done(client: Any, path: str) -> None:
    answer = client.post(path, {})
    assert answer.status_code in (200, 201), answer.content


def sign_all(client: Any, stage_id: int, when: str = "") -> None:
    for gate in items(client, "gates/", stage_id=stage_id):
        if gate["signed_at"] is None and when in ("", gate["when"]):
            done(client, f"gates/{gate['id']}/sign/")
