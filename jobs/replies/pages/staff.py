"""Links as the office makes, mails and revokes them."""

from __future__ import annotations

from base64 import b64encode
from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.estimates import queries as estimates
from shop.documents import queries as documents
from shop.documents.codes import qr_svg
from shop.people.pages.who import by
from shop.ui.middleware import NO_TRANSFORM
from shop.ui.pages import page, press, status_of, submit

from .. import actions, forms, queries
from ..models import CustomerLink

MOST_PHOTOS = 60


@page("goahead.record", "GET", "POST")
def links(request: HttpRequest, pk: int) -> HttpResponse:
    """The links of one estimate with their addresses, a form for one more, and the card's photos to tick."""
    row = estimates.estimate(pk)
    if row is None:
        raise Http404
    customer = row.card.customer
    may_mail = bool(customer.email and customer.mail_consent_at)
    form = forms.LinkForm(request.POST or None, may_mail=may_mail, initial={"mail": may_mail})

    def work() -> Any:
        made = actions.make_link(pk, by=by(request), days=form.cleaned_data["days"])
        if form.cleaned_data.get("mail"):
            actions.mail_link(made.pk, by=by(request), site=_site(request))
        return made

    answer = submit(request, form, work, to=_back(pk), done=_("A link was made. It stands below."))
    if answer is not None:
        return answer
    rows = list(queries.links(estimate_id=pk).order_by("-id")[:50])
    photos = documents.attachments(by(request), root="jobcard", root_id=row.card_id)
    photos = photos.filter(media_type__in=documents.INLINE)[:MOST_PHOTOS]
    context = {
        "estimate": row, "customer": customer, "form": form, "may_mail": may_mail, "state": estimates.state_of(row),
        "links": [_shown(x, _site(request)) for x in rows], "photos": documents.items(photos), "here": request.path,
    }  # fmt: skip
    response = render(request, "jobs_replies/links.html", context, status=status_of(form))
    response["Cache-Control"] = NO_TRANSFORM  # it shows secrets
    return response


def _shown(row: CustomerLink, site: str) -> dict[str, Any]:
    state = queries.state_of(row)
    word, mark = queries.STATES[state]
    found: dict[str, Any] = {"row": row, "word": word, "mark": mark, "live": state == "open"}
    if state == "open" and (address := queries.address(row, site)):
        code = b64encode(qr_svg(address).encode()).decode()
        found |= {"address": address, "code": f"data:image/svg+xml;base64,{code}"}
    return found


@page("goahead.record", "POST")
def mail(request: HttpRequest, pk: int) -> HttpResponse:
    back = _back(_found(pk).estimate_id)
    work = partial(actions.mail_link, pk, by=by(request), site=_site(request))
    return press(request, work, to=back, back=back, done=_("The mail with the link is on its way."))


@page("goahead.record", "POST")
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    back = _back(_found(pk).estimate_id)
    work = partial(actions.revoke_link, pk, by=by(request))
    return press(request, work, to=back, back=back, done=_("Revoked: the link opens nothing any more."))


def _found(pk: int) -> CustomerLink:
    row = queries.link(pk)
    if row is None:
        raise Http404
    return row


def _back(estimate_id: int) -> str:
    return reverse("replies:links", args=[estimate_id])


def _site(request: HttpRequest) -> str:
    return request.build_absolute_uri("/")
