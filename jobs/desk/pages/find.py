"""The search box, and where a scanned code leads."""

from __future__ import annotations

import re

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from inventory.stock import queries as shelf
from shop.people.pages.who import by
from shop.ui.pages import page

from .. import codes
from ..links import to
from ..queries import find as queries

_DIGIT = re.compile(r"\d")


@page("find.read")
def find(request: HttpRequest) -> HttpResponse:
    """A whole card number, or the code of a part or lot, goes straight there; anything else lists what fits. A bin's code is
    among the hits: "B2" may also be half of a machine's name."""
    text = " ".join(request.GET.get("q", "").replace("\x00", "").split())[: codes.LONGEST]
    if _DIGIT.search(text):
        found = _where(request, text, shelf_too=False)
        if found:
            return redirect(found)
    groups = queries.find(text, by(request).rights)
    context = {"groups": groups, "find_query": text}
    return render(request, "jobs_desk/find.html", context)


@page("find.read")
def scan(request: HttpRequest) -> HttpResponse:
    """The page of what a code stands for. With ?stage= a part leads to drawing it for that stage."""
    code = request.GET.get("code", "").replace("\x00", "").strip(" \r\n")[: codes.LONGEST]
    found = _where(request, code) if code else ""
    if found:
        return redirect(found)
    context = {"code": code, "groups": queries.find(code, by(request).rights), "find_query": code}
    return render(request, "jobs_desk/scan.html", context)


def _where(request: HttpRequest, code: str, *, shelf_too: bool = True) -> str:
    rights = by(request).rights
    if "cards.read" in rights:
        card = queries.card_of(code)
        if card:
            return to("cards:card", card.pk)
    if "parts.read" in rights:
        part, lot = shelf.by_code(code)
        if part:
            return to("stock:lot", lot.pk) if lot and "stock.read" in rights else to("parts:part", part.pk)
    if shelf_too and "stock.read" in rights:
        place = queries.place_of(code)
        if place:
            return to("stock:bin", place.pk)
    if "machines.read" in rights and len(code) >= 4:
        machine = queries.machine_of(code)
        if machine:
            return to("machines:machine", machine.pk)
    return ""
