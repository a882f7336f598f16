"""A mechanic's own page: the clock, what is theirs to do, what is free to take."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from shop.people.pages.who import by
from shop.ui.pages import page

from ..queries import bench as queries


@page("stages.work")
def mine(request: HttpRequest) -> HttpResponse:
    here = reverse("cards:mine")
    context = {"bench": queries.bench(by(request)), "here": here, "hidden": {"next": here}}
    return render(request, "jobs_desk/mine.html", context)
