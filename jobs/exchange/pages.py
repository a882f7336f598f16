"""Staff pages of import and export."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from shop.kernel import clock
from shop.kernel.errors import BadInput
from shop.kernel.rights import require
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.pages import page, press, show, status_of, submit
from shop.ui.sheets import write_csv

from . import actions, forms, queries, sheets
from .kinds import KINDS, READS, kind_of

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@page("import.run", "GET", "POST")
def start(request: HttpRequest) -> HttpResponse:
    """Choose a file; it is checked whole before anything is written."""
    person = by(request)
    offered = [k for k in KINDS.values() if k.right in person.rights]
    form = forms.FileForm(request.POST or None, request.FILES or None, initial={"kind": request.GET.get("kind", "")})
    answer = None
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        raw = given["file"].read()
        # a fingerprint of the form alone would take another file for the same posting
        request.POST = request.POST.copy()  # type: ignore[assignment]
        request.POST["digest"] = hashlib.sha256(raw).hexdigest()
        try:
            checked = actions.check_file(
                by=person, kind=given["kind"], name=given["file"].name, raw=raw,
                decimal_comma=forms.COMMA[given["decimals"]],
            )  # fmt: skip
        except BadInput as error:
            show(form, error)
        else:
            answer = submit(
                request, form, lambda: actions.keep_file(checked, by=person),
                to=lambda run: reverse("import:run", args=[run.pk]),
            )  # fmt: skip
    if answer:
        return answer
    context = {
        "form": form,
        "kinds": offered,
        "exports": [k for k in KINDS.values() if READS[k.name] in person.rights and "export.run" in person.rights],
        "page": page_of(request, queries.runs(), ("-id",), size=20),
    }
    return render(request, "jobs_exchange/start.html", context, status=status_of(form))


@page("import.run")
def run(request: HttpRequest, pk: int) -> HttpResponse:
    """What was found in a file, and how far it is written."""
    found = queries.run(pk)
    if found is None:
        raise Http404
    require(request.user, kind_of(found.kind).right)
    return render(request, "jobs_exchange/run.html", {"run": found, "table": kind_of(found.kind)})


@page("import.run", "POST")
def write(request: HttpRequest, pk: int) -> HttpResponse:
    here = reverse("import:run", args=[pk])
    only_good = request.POST.get("only_good") == "yes"
    return press(
        request, lambda: actions.start_import(pk, by=by(request), only_good=only_good), to=here, back=here,
        done="The rows are being written. This page shows how far it is.",
    )  # fmt: skip


@page("export.run")
def export(request: HttpRequest, kind: str, form: str) -> HttpResponse:
    """A whole table, as CSV or XLSX, with the headings that an import takes."""
    table = kind_of(kind)
    require(request.user, READS[kind])
    name = f"{kind}-{clock.today():%Y-%m-%d}.{form}"
    header = [c.name for c in table.columns]
    rows: Iterable[list[Any]] = table.export()
    if form == "csv":
        content, media = b"".join(line.encode() for line in write_csv(header, rows)), "text/csv; charset=utf-8"
    else:
        content, media = sheets.write_xlsx(table.title, header, rows), XLSX
    response = HttpResponse(content, content_type=media)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response["X-Content-Type-Options"] = "nosniff"
    return response


@page("import.run")
def template(request: HttpRequest, kind: str) -> HttpResponse:
    """An empty table with the headings, to be filled in."""
    header = [c.name for c in kind_of(kind).columns]
    response = HttpResponse("".join(write_csv(header, [])), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{kind}-empty.csv"'
    return response
