"""What a customer opens by a link: one document, its photos, and the form to answer it. No account, no cookie, no session.

Who holds the token is let in, to nothing else. A GET changes nothing but how often the link was opened. A POST carries a key
that only a page opened by this very link holds, signed and bound to what that page showed: another site can make no browser
send one, and sent twice it happens once.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping
from ipaddress import ip_address
from typing import Any

from django.core import signing
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import override
from django.views.decorators.csrf import csrf_exempt

from shop.business import queries as business
from shop.documents import serving
from shop.documents.formatting import strings
from shop.kernel.errors import BadInput, NotFound, Refused, TooMany
from shop.people import limits
from shop.people.pages.visit import address_of
from shop.ui.middleware import NO_TRANSFORM
from shop.ui.pages import page

from .. import actions, forms, queries, showing, wording
from ..models import CustomerLink

GUESS = limits.Limit("link", free=20, first=2, longest=300)  # wrong tokens, by network
SENT = limits.Limit("link-answer", free=30, first=2, longest=300)  # answers, by link
_FORM = "jobs.replies.form"
FORM_AGE = 24 * 3600  # seconds

Opened = Callable[[HttpRequest, CustomerLink], HttpResponseBase]


def _guarded(response: HttpResponseBase) -> HttpResponseBase:
    """Kept by nobody, found by no search engine, and no other site hears the address."""
    response["Cache-Control"] = NO_TRANSFORM
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex, nofollow, noarchive"
    response.headers.pop("ETag", None)
    return response


def _by_token(request: HttpRequest, token: str, show: Opened) -> HttpResponseBase:
    """`show` for the link that can be opened; else a page that says why not, and nothing else.

    Only wrong tokens are counted and made to wait, so nobody waits for what others behind the same address guessed. A
    right one says 256 bits, which no number of tries finds."""
    network = GUESS.scope(limits.network(address_of(request)))
    try:
        link = queries.by_token(token)
        if link is None:
            limits.count(network)
            return _guarded(_told(request, "en", "unknown", "unknown-why", 404))
        state = queries.state_of(link)
        if state != "open":
            return _guarded(_told(request, link.estimate.language, "closed", f"closed-{state}", 410))
        with override(link.estimate.language):
            return _guarded(show(request, link))
    except NotFound:
        return _guarded(_told(request, "en", "unknown", "unknown-why", 404))
    except TooMany as error:
        seconds = error.facts["retry_after"]
        answer = _told(request, "en", "wait", "wait-why", 429, seconds=seconds)
        answer["Retry-After"] = str(seconds)
        return _guarded(answer)


def _told(request: HttpRequest, language: str, title: str, why: str, status: int, **facts: object) -> HttpResponse:
    """A page with the shop's name and telephone alone."""
    words, profile = wording.words(language), business.profile()
    context = {
        "words": words, "language": strings(language)["lang"], "title": words[title], "why": words[why].format(**facts),
        "shop": profile.name, "phone": profile.phone, "csp_nonce": request.csp_nonce,  # type: ignore[attr-defined]
    }  # fmt: skip
    return HttpResponse(render_to_string("jobs_replies/closed.html", context), status=status)


@csrf_exempt
@page(None, "GET", "POST")
def document(request: HttpRequest, token: str) -> Any:
    return _by_token(request, token, _answered if request.method == "POST" else _opened)


@page(None)
def pdf(request: HttpRequest, token: str) -> Any:
    return _by_token(request, token, _pdf)


@page(None)
def photo(request: HttpRequest, token: str, pk: int) -> Any:
    return _by_token(request, token, lambda r, link: _photo(r, link, pk, small=False))


@page(None)
def small_photo(request: HttpRequest, token: str, pk: int) -> Any:
    return _by_token(request, token, lambda r, link: _photo(r, link, pk, small=True))


def _opened(request: HttpRequest, link: CustomerLink) -> HttpResponse:
    answer = _page(request, link)
    if request.method == "GET":
        actions.note_opened(link.pk)
    return answer


def _answered(request: HttpRequest, link: CustomerLink) -> HttpResponse:
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        return _page(request, link, wrong=[("lines", "stale")], status=403)
    limits.count(SENT.scope(link.pk))
    key = _key_of(request, link)
    if key is None:
        return _page(request, link, wrong=[("lines", "stale")], status=409)
    lines, words = queries.lines(link.estimate), queries.words(link.estimate)
    # what was answered meanwhile is for the action to refuse; here it is still read as it was sent
    asked = frozenset(x.pk for x in lines) if key["seen"] != queries.last_word(link.estimate) else _open(words)
    asked -= {x.pk for x in lines if x.accompanies_id}
    sent = forms.read(request.POST, lines, asked)
    if sent.wrong:
        return _page(request, link, sent=sent, wrong=sent.wrong, status=422)
    try:
        actions.answer(
            link.pk, once=key["once"], seen=key["seen"], answers=sent.answers, said_by=sent.name,
            address=_address(request), signature=sent.signature,
        )  # fmt: skip
    except BadInput:
        return _page(request, link, sent=sent, wrong=[("name", "no-name")], status=422)
    except Refused as error:
        if error.code != "answered":  # closed while the page was open: it says so itself
            again = queries.link(link.pk)
            state = queries.state_of(again) if again is not None else "revoked"
            if state != "open":
                return _told(request, link.estimate.language, "closed", f"closed-{state}", 410)
            return _page(request, link, sent=sent, wrong=[("lines", "not-recorded")], status=409)
        return _page(request, link, wrong=[("lines", "answered")], status=409)
    return HttpResponseRedirect(request.path, status=303)


def _page(
    request: HttpRequest, link: CustomerLink, *, sent: forms.Sent | None = None, wrong: Any = (), status: int = 200
) -> HttpResponse:
    estimate = link.estimate
    lines, said = queries.lines(estimate), queries.words(estimate)
    words, token = wording.words(estimate.language), request.path.split("/")[2]
    given = [
        words["said"].format(name=g.said_by, when=showing.moment(g.said_at, estimate)) for g in queries.said(estimate)
    ]
    context: dict[str, Any] = {
        "words": words,
        "language": strings(estimate.language)["lang"],
        "shop": estimate.seller["name"],
        "phone": estimate.seller["phone"] or business.profile().phone,
        "csp_nonce": request.csp_nonce,  # type: ignore[attr-defined]
        "doc": showing.document(estimate, lines),
        "sections": showing.sections(
            estimate, lines, said, queries.words_before(estimate), sent.chosen if sent else {}
        ),
        "given": given,
        "ask": bool(_open(said)),
        "key": _key(link),
        "name": sent.name if sent else "",
        "wrong": [(field, words[text]) for field, text in wrong],
        "photos": [
            (
                reverse("replies:photo", args=[token, p.pk]),
                reverse("replies:small-photo", args=[token, p.pk]) if p.thumbnail else "",
                p.title or f"{words['photo']} {n}",
            )
            for n, p in enumerate(queries.photos(estimate), start=1)
        ],
        "pdf": reverse("replies:pdf", args=[token]),
    }
    return HttpResponse(render_to_string("jobs_replies/document.html", context), status=status)


def _open(words: Mapping[int, str]) -> frozenset[int]:
    return frozenset(pk for pk, word in words.items() if word == "open")


def _key(link: CustomerLink) -> str:
    """Names this showing of the page, and what it showed."""
    facts = [link.pk, link.document_hash, queries.last_word(link.estimate), str(uuid.uuid4())]
    return signing.dumps(facts, salt=_FORM)


def _key_of(request: HttpRequest, link: CustomerLink) -> dict[str, Any] | None:
    """The key that was sent, if it is of a page of this link that showed this document."""
    try:
        pk, document_hash, seen, once = signing.loads(request.POST.get("key", ""), salt=_FORM, max_age=FORM_AGE)
        if (pk, document_hash) != (link.pk, link.document_hash):
            return None
        return {"seen": int(seen), "once": uuid.UUID(once)}
    except (signing.BadSignature, ValueError, TypeError):
        return None


def _address(request: HttpRequest) -> str | None:
    try:
        return str(ip_address(address_of(request)))
    except ValueError:
        return None


def _pdf(request: HttpRequest, link: CustomerLink) -> HttpResponseBase:
    kept = queries.issued_pdf(link.estimate)
    if kept is None:
        raise NotFound("The document isn't kept.")
    return _named(serving.content(request, kept), f"{link.estimate.number}.pdf", "application/pdf")


def _photo(request: HttpRequest, link: CustomerLink, pk: int, *, small: bool) -> HttpResponseBase:
    found = queries.photos(link.estimate).filter(pk=pk).first()
    if found is None:
        raise NotFound("There is no such photo.")
    return _named(serving.content(request, found, small=small), f"photo-{pk}", "")


def _named(response: HttpResponseBase, name: str, kind: str) -> HttpResponseBase:
    """Under a name that tells nothing of what the shop calls it."""
    how = "attachment" if kind else "inline"
    response["Content-Disposition"] = f'{how}; filename="{name}"'
    return response
