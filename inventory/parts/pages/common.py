"""What the pages of this room share."""

from __future__ import annotations

from django.http import Http404
from django.urls import reverse

from .. import queries
from ..models import Part


def found_part(pk: int) -> Part:
    found = queries.part(pk)
    if found is None:
        raise Http404
    return found


def part_url(part: Part | int) -> str:
    return reverse("parts:part", args=[part if isinstance(part, int) else part.pk])
