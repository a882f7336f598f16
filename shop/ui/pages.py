"""How a room offers a staff page.

    @page("customers.edit", "GET", "POST")
    def add(request):
        form = CustomerForm(request.POST or None)
        answer = submit(request, form, lambda: actions.add_customer(**form.cleaned_data, by=request.user),
                        to=lambda customer: reverse("machines:customer", args=[customer.pk]), done="Customer added.")
        return answer or render(request, "jobs_machines/customer_form.html", {"form": form}, status=status_of(form))

For a button without a form of its own use `press`. Both run once per hidden `once` field ({% once %} in the form), in one
write; a refusal is shown in words and nothing is written.
"""

from __future__ import annotations

import functools
import json
import re
import uuid
from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotAllowed, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme, urlencode

from shop.kernel.errors import BadInput, DomainError, NotAllowed, NotFound, TooMany
from shop.kernel.rights import require
from shop.trail import once as kept

_SECRET = re.compile(r"password|^pin|secret", re.IGNORECASE)  # never written into a page again


def page(right: str | None, *methods: str) -> Callable[[Callable[..., HttpResponse]], Callable[..., HttpResponse]]:
    """A staff page (GET only unless `methods` say more) that needs `right`; None: open to anyone, signed in or not."""
    allowed = methods or ("GET",)

    def decorate(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        @functools.wraps(view)
        def wrapper(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if request.method not in allowed and not (request.method == "HEAD" and "GET" in allowed):
                return _not_here(request, allowed)
            if right is not None and not request.user.is_authenticated:
                return _sign_in_first(request)
            try:
                if right is not None:
                    require(request.user, right)
                return view(request, *args, **kwargs)
            except NotFound as error:
                raise Http404(error.message) from error
            except NotAllowed as error:
                raise PermissionDenied(error.message) from error
            except TooMany as error:
                wait = error.facts.get("retry_after", 60)
                response = render(request, "429.html", {"message": error.message, "retry_after": wait}, status=429)
                response["Retry-After"] = str(wait)
                return response

        wrapper.right = right  # type: ignore[attr-defined]
        wrapper.methods = allowed  # type: ignore[attr-defined]
        return wrapper

    return decorate


def _not_here(request: HttpRequest, allowed: tuple[str, ...]) -> HttpResponse:
    """An address that only takes what a form sends was opened, as by a reload after a refusal."""
    response = HttpResponseNotAllowed(allowed)
    if request.method == "GET":
        response.content = render(request, "405.html").content
    return response


def _sign_in_first(request: HttpRequest) -> HttpResponse:
    """To the sign-in page. What was typed into an expired page goes along and is offered again afterwards."""
    if request.method == "POST":
        typed = [[k, v] for k, values in request.POST.lists() for v in values if k != "csrfmiddlewaretoken"]
        kept = [[k, v] for k, v in typed if not _SECRET.search(k)]
        raw = json.dumps(kept)
        if len(raw) > 1_000_000:
            kept, raw = [], ""
        context = {
            "next": request.get_full_path(), "kept": raw, "expired": True,
            "lost": "1" if request.FILES or len(kept) < len(typed) else "",
        }  # fmt: skip
        # htmx swaps a 422 and leaves a 401 alone: there the sign-in form takes the place of the page's own
        status = 422 if request.headers.get("HX-Request") else 401
        return render(request, "shop_people/sign_in.html", context, status=status)
    target = reverse("people:tablet" if getattr(request, "tablet", None) else "people:sign-in")
    return HttpResponseRedirect(f"{target}?{urlencode({'next': request.get_full_path()})}")


def submit(
    request: HttpRequest,
    form: forms.BaseForm,
    work: Callable[[], Any],
    *,
    to: Callable[[Any], str] | str,
    done: Callable[[Any], str] | str = "",
) -> HttpResponse | None:
    """When `form` was sent and is valid, run `work` once and redirect; else None, with a refusal put onto the form.

    `to` and `done`, what is then said, may be made from what `work` returned."""
    if request.method != "POST" or not form.is_valid():
        return None
    try:
        return _go(request, work, to, done)
    except (NotFound, NotAllowed, TooMany):
        raise
    except DomainError as error:
        show(form, error)
        return None


def told(request: HttpRequest, form: forms.BaseForm, back: str) -> HttpResponse:
    """What was refused as a message on the page `back`, for a form that this page doesn't show any more."""
    for fault in dict.fromkeys(x for faults in form.errors.values() for x in faults):
        messages.error(request, str(fault))
    return HttpResponseRedirect(back)


def ask_again(request: HttpRequest, page_url: str) -> HttpResponse:
    """For a file over days that can't be meant: to its page with the same query, which says what is wrong."""
    return HttpResponseRedirect(f"{page_url}?{request.GET.urlencode()}")


def press(
    request: HttpRequest,
    work: Callable[[], Any],
    *,
    to: Callable[[Any], str] | str,
    back: str,
    done: Callable[[Any], str] | str = "",
) -> HttpResponse:
    """A button: run `work` once and redirect to `to`; a refusal becomes a message on the page `back`."""
    try:
        return _go(request, work, to, done)
    except (NotFound, NotAllowed, TooMany):
        raise
    except DomainError as error:
        messages.error(request, error.message)
        return HttpResponseRedirect(back)


def _go(
    request: HttpRequest, work: Callable[[], Any], to: Callable[[Any], str] | str, done: Callable[[Any], str] | str
) -> HttpResponse:
    key = request.POST.get("once", "")
    try:
        uuid.UUID(key)
    except ValueError as error:
        raise BadInput("This form is incomplete. Load the page again and repeat; what you typed stays.") from error
    fields = [[k, v] for k, values in sorted(request.POST.lists()) for v in values if k not in ("csrfmiddlewaretoken",)]
    print_ = kept.fingerprint(request.path, json.dumps(fields))

    said = ""

    def posted() -> kept.Kept:
        nonlocal said
        result = work()
        said = done(result) if callable(done) else done
        return kept.Kept(303, {}, to(result) if callable(to) else to)

    answer = kept.once(f"person:{request.user.pk}", key, print_, posted)
    if said and not answer.replayed:
        messages.success(request, said)
    return HttpResponseRedirect(answer.body, status=303)


def show(form: forms.BaseForm, error: DomainError) -> None:
    """Put a refusal onto the form: at its fields where it names them (`part` takes what is said of `part_id`), else above."""
    placed = False
    for field, texts in error.fields.items():
        name = field if field in form.fields else field.removesuffix("_id")
        if name in form.fields:
            for text in texts:
                form.add_error(name, text)
            placed = True
    if not placed:
        form.add_error(None, error.message)
    form.refusal = error  # type: ignore[attr-defined]


def status_of(form: forms.BaseForm) -> int:
    """422 for a page that shows a form with errors, else 200."""
    return 422 if form.is_bound and form.errors else 200


def version_of(request: HttpRequest) -> int:
    """The version that a button was shown with; 0, which nothing has, for what isn't one."""
    typed = request.POST.get("version", "")
    return int(typed) if typed.isdecimal() and len(typed) < 10 else 0


def next_of(request: HttpRequest, default: str) -> str:
    """Where the form or link that led here wants to go on: its `next` when that is a page of this site, else `default`."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    plain = wanted.startswith("/") and len(wanted) < 2000 and wanted.isprintable()
    safe = plain and not wanted.startswith("/api/") and url_has_allowed_host_and_scheme(wanted, allowed_hosts=None)
    return wanted if safe else default


def new_once() -> str:
    """A value for the hidden `once` field of a form."""
    return str(uuid.uuid4())
