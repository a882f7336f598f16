"""What tests of the customer's page share."""

import base64
import io
import re

from PIL import Image, ImageDraw

from shop.documents import actions as documents
from shop.documents import uploads
from shop.documents.models import Attachment


def text_of(answer) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).replace("\u00a0", " ").split())


def drawn(size=(600, 220)) -> str:
    picture, out = Image.new("RGB", size, "white"), io.BytesIO()
    ImageDraw.Draw(picture).line([(20, 200), (300, 30), (580, 190)], fill="black", width=4)
    picture.save(out, "PNG")
    return "data:image/png;base64," + base64.b64encode(out.getvalue()).decode()


def photo(card, owner, *, shown: bool, seed: int = 0) -> Attachment:
    picture = Image.new("RGB", (640, 480), (seed * 40 % 255, 90, 120))
    out = io.BytesIO()
    picture.save(out, "JPEG")
    (row,) = documents.add_files(
        "jobcard", card.pk, [uploads.inspect("bore-2-secret.jpg", out.getvalue())], title="Bore 2, scored", by=owner
    )
    return documents.show_customer(row.pk, by=owner, shown=True) if shown else row


def guarded(answer) -> None:
    assert answer["Cache-Control"] == "private, no-store, no-transform"
    assert answer["Referrer-Policy"] == "no-referrer"
    assert "noindex" in answer["X-Robots-Tag"]
    assert not answer.cookies, "a customer gets no cookie"
