import pytest
from django.core import mail
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from shop.trail import outbox

pytestmark = pytest.mark.django_db


def test_a_mail_goes_out_with_text_html_and_a_stored_file(queue):
    name = default_storage.save("attachments/estimate.pdf", ContentFile(b"%PDF-1.7 sheet"))
    row = queue(
        "mail.send",
        to=["mara@quill.example"],
        subject="Estimate E26-0004\r\nBcc: spy@example.org",
        text="The estimate is attached.",
        html="<p>The estimate is attached.</p>",
        attachments=[{"file": name, "name": "E26-0004.pdf", "type": "application/pdf"}],
    )
    outbox.drain()
    row.refresh_from_db()
    assert row.done_at, row.last_error
    (sent,) = mail.outbox
    assert sent.to == ["mara@quill.example"]
    assert sent.subject == "Estimate E26-0004 Bcc: spy@example.org"
    assert sent.bcc == []
    assert sent.alternatives[0][1] == "text/html"
    assert sent.attachments[0] == ("E26-0004.pdf", b"%PDF-1.7 sheet", "application/pdf")


def test_a_repeated_mail_can_be_recognised_by_its_message_id(queue, later, monkeypatch):
    row = queue("mail.send", to="mara@quill.example", subject="Ready", text="Your engine is ready.")
    outbox.drain()
    row.refresh_from_db()
    row.done_at = None  # as if the worker had died before it noted that the mail is out
    row.save()
    outbox.drain()
    first, second = (m.message()["Message-ID"] for m in mail.outbox)
    assert first == second
    assert first.startswith(f"<outbox-{row.pk}-")
    queue("mail.send", to="mara@quill.example", subject="Ready", text="Your engine is ready.")
    outbox.drain()
    assert mail.outbox[2].message()["Message-ID"] != first


@pytest.mark.parametrize(
    "payload",
    [
        {"to": []},
        {"to": ["not an address"]},
        {"to": ["mara@quill.example"], "attachments": [{"file": "attachments/never-stored.pdf"}]},
    ],
)
def test_a_mail_that_can_never_go_is_given_up_and_says_why(queue, payload):
    row = queue("mail.send", subject="Ready", text="Your engine is ready.", **payload)
    outbox.drain()
    row.refresh_from_db()
    assert row.failed_at
    assert row.last_error.startswith("Undeliverable: ")
    assert mail.outbox == []
