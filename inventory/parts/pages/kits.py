"""What is in a kit."""

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
from .common import found_part


@page("parts.edit", "GET", "POST")
def kit(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_part(pk)
    form = forms.KitPartForm(request.POST or None)

    def work() -> Any:
        values = dict(form.cleaned_data)
        return actions.put_in_kit(pk, by=by(request), part_id=values.pop("part").pk, **values)

    answer = submit(request, form, work, to=reverse("parts:kit", args=[pk]), done=_("It is in the kit."))
    context = {"part": row, "form": form, "rows": queries.kit_parts(kit_id=pk)}
    return answer or render(request, "inventory_parts/kit.html", context, status=status_of(form))


@page("parts.edit", "POST")
def take_out_of_kit(request: HttpRequest, pk: int) -> HttpResponse:
    row = queries.kit_part(pk)
    if row is None:
        raise Http404
    back = reverse("parts:kit", args=[row.kit_id])
    work = partial(actions.take_out_of_kit, pk, by=by(request))
    return press(request, work, to=back, back=back, done=_("Taken out of the kit."))
