"""Barcodes, packages, replacements and alternatives of a part."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.people.pages.who import by
from shop.ui.pages import page, press, status_of, submit

from .. import actions, forms, queries
from .common import found_part, part_url


@page("parts.edit", "GET", "POST")
def barcodes(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_part(pk)
    form = forms.BarcodeForm(request.POST or None)
    here = reverse("parts:barcodes", args=[pk])

    def work() -> Any:
        return actions.add_barcode(pk, by=by(request), **form.cleaned_data)

    answer = submit(request, form, work, to=here, done=_("Barcode added."))
    return answer or render(
        request, "inventory_parts/barcodes.html", {"part": row, "form": form}, status=status_of(form)
    )


@page("parts.edit", "POST")
def remove_barcode(request: HttpRequest, pk: int) -> HttpResponse:
    row = queries.barcode(pk)
    if row is None:
        raise Http404
    back = reverse("parts:barcodes", args=[row.part_id])
    work = partial(actions.remove_barcode, pk, by=by(request))
    return press(request, work, to=back, back=back, done=_("Barcode taken away."))


@page("parts.edit", "GET", "POST")
def replace(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_part(pk)
    form = forms.ReplaceForm(request.POST or None)

    def work() -> Any:
        values = dict(form.cleaned_data)
        return actions.replace_part(pk, by=by(request), new_part_id=values.pop("new_part").pk, **values)

    answer = submit(
        request, form, work, to=part_url(pk), done=_("Noted. Its number leads to the new part from now on.")
    )
    return answer or render(
        request, "inventory_parts/replace.html", {"part": row, "form": form}, status=status_of(form)
    )


@page("parts.edit", "POST")
def undo_replacement(request: HttpRequest, pk: int) -> HttpResponse:
    row = queries.replacement(pk)
    if row is None:
        raise Http404
    back = part_url(row.old_id)
    return press(
        request,
        partial(actions.undo_replacement, pk, by=by(request)),
        to=back,
        back=back,
        done=_("Replacement taken back."),
    )


@page("parts.edit", "GET", "POST")
def add_alternative(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_part(pk)
    form = forms.AlternativeForm(request.POST or None)

    def work() -> Any:
        other = form.cleaned_data["other_part"]
        return actions.add_alternative(pk, by=by(request), other_part_id=other.pk, note=form.cleaned_data["note"])

    answer = submit(request, form, work, to=part_url(pk), done=_("Alternative added."))
    context = {"part": row, "form": form}
    return answer or render(request, "inventory_parts/alternative.html", context, status=status_of(form))


@page("parts.edit", "POST")
def remove_alternative(request: HttpRequest, pk: int) -> HttpResponse:
    """On the page of one of the two, which its button names; else on that of the older one."""
    row = queries.alternative(pk)
    if row is None:
        raise Http404
    back = part_url(row.other_id if request.POST.get("of") == str(row.other_id) else row.part_id)
    work = partial(actions.remove_alternative, pk, by=by(request))
    return press(request, work, to=back, back=back, done=_("Alternative taken away."))


@page("parts.edit", "GET", "POST")
def packages(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_part(pk)
    form = forms.PackageForm(request.POST or None, part=row)
    here = reverse("parts:packages", args=[pk])
    work = lambda: actions.add_package(pk, by=by(request), **form.cleaned_data)  # noqa: E731
    answer = submit(request, form, work, to=here, done=_("Package added."))
    context = {"part": row, "form": form, "rows": queries.packages(part_id=pk)}
    return answer or render(request, "inventory_parts/packages.html", context, status=status_of(form))


@page("parts.edit", "POST")
def remove_package(request: HttpRequest, pk: int) -> HttpResponse:
    row = queries.package(pk)
    if row is None:
        raise Http404
    back = reverse("parts:packages", args=[row.part_id])
    work = partial(actions.remove_package, pk, by=by(request))
    return press(request, work, to=back, back=back, done=_("Package taken away."))
