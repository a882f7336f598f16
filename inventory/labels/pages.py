"""Staff pages: pick labels and print them; the papers."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.stock import queries as shelf
from shop.api.files import pdf_answer
from shop.kernel.errors import BadInput
from shop.people.pages.who import by
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, show, status_of, submit

from . import actions, forms, papers, picking, printing, queries
from .models import LabelPaper


@page("labels.print", "GET", "POST")
def labels(request: HttpRequest) -> HttpResponse:
    """Which labels, how many, on which paper and from which place of it on. Sent off, the answer is the PDF."""
    form = forms.LabelsForm(request.POST or None, initial=_begun(request))
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            paper = _paper(given["paper"]).paper
            data = printing.pdf(picking.read(given["codes"]), paper, first=given["first"], outline=given["outline"])
        except BadInput as error:
            show(form, error)
        else:
            return pdf_answer(data, "labels.pdf")
    context = {"form": form, "papers": queries.papers()}
    return render(request, "inventory_labels/labels.html", context, status=status_of(form))


def _begun(request: HttpRequest) -> dict[str, Any]:
    """What a link asked for: ?code= one thing, ?bin= the lots in a bin, ?all=bins, ?all=today."""
    asked = request.GET
    picks: list[picking.Pick] = []
    if code := asked.get("code", "")[:60].strip():
        picks.append(picking.Pick(code, 1))
    if bins := shelf.bins_with_code(asked.get("bin", "")[:40]) if asked.get("bin") else []:
        picks += queries.of_bin(bins[0].pk)
    if asked.get("all") == "bins":
        picks += queries.of_all_bins()
    elif asked.get("all") == "today":
        picks += queries.received_today()
    return {"codes": picking.written(picks)}


def _paper(pk: int) -> LabelPaper:
    found = queries.paper(pk)
    if found is None or found.archived_at:
        raise Http404
    return found


@page("labels.print")
def paper_list(request: HttpRequest) -> HttpResponse:
    return render(
        request, "inventory_labels/papers.html", {"papers": queries.papers(), "presets": list(papers.PRESETS)}
    )


@page("labels.edit", "GET", "POST")
def add_paper(request: HttpRequest) -> HttpResponse:
    form = forms.PaperForm(request.POST or None, initial=_preset(request.GET.get("like", "")))
    work = lambda: actions.add_paper(by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=reverse("labels:papers"), done=_("Paper added."))
    return answer or render(request, "inventory_labels/paper.html", {"form": form}, status=status_of(form))


def _preset(name: str) -> dict[str, Any]:
    like = papers.PRESETS.get(name)
    if like is None:
        return {}
    return {n: getattr(like, n) for n in ("is_roll", "rows", "cols", *papers.MEASURES)} | {"name": name}


@page("labels.edit", "GET", "POST")
def edit_paper(request: HttpRequest, pk: int) -> HttpResponse:
    row = _paper(pk)
    form = forms.PaperEditForm(request.POST or None, initial=_stored(row))

    def work() -> LabelPaper:
        return actions.edit_paper(pk, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, work, to=reverse("labels:papers"), done=_("Paper saved."))
    if answer is None and stale(form):
        set_beside(form, _stored(_paper(pk)))
    context = {"form": form, "paper": row}
    return answer or render(request, "inventory_labels/paper.html", context, status=status_of(form))


def _stored(row: LabelPaper) -> dict[str, Any]:
    return {name: getattr(row, name) for name in forms.PaperEditForm.base_fields}


@page("labels.edit", "POST")
def archive_paper(request: HttpRequest, pk: int) -> HttpResponse:
    back = reverse("labels:papers")
    work = partial(actions.archive_paper, pk, None, by=by(request))
    return press(request, work, to=back, back=back, done=_("Paper put away."))
