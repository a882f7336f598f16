"""Specimen pages: each component in each state, with invented content of Saltmarsh Engine Works."""

from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse

from shop.kernel.clock import now
from shop.ui.forms import DateInput, DateTimeInput, DecimalField, ScanInput
from shop.ui.pages import page

D = Decimal
LONG = "Donaudampfschifffahrtsgesellschaftskapitänskajütentürschlüsselbund-Dichtungssatz"
RTL = "ورشة الميناء لإصلاح المحركات"


class Intake(forms.Form):
    customer = forms.CharField(label="Customer", help_text="Name of the person or firm that pays.")
    serial = forms.CharField(label="Serial or engine number", help_text="As stamped on the plate.")
    hours = DecimalField(label="Hours run", unit="h", required=False, max_digits=9, decimal_places=1)
    promised = forms.DateField(label="Promised for", widget=DateInput, required=False)
    complaint = forms.CharField(label="Complaint in the customer's words", widget=forms.Textarea)
    arrives = forms.ChoiceField(
        label="How it came",
        choices=[("driven", "Brought in"), ("fetched", "Fetched by us"), ("sent", "Sent by carrier")],
        widget=forms.RadioSelect,
    )
    bench = forms.ChoiceField(label="Bench", choices=[("1", "Bench 1, crane side"), ("2", "Bench 2, window")])
    photo = forms.FileField(label="Photo of the plate", required=False)
    mail = forms.BooleanField(label="The customer wants the estimate by mail", required=False)


class Drawing(forms.Form):
    card = forms.CharField(label="Card", widget=ScanInput(pattern="^C"))
    part = forms.CharField(label="Part", widget=ScanInput(pattern="^(?!C)"))
    quantity = DecimalField(label="Quantity", unit="pcs", initial=D(1), decimal_places=3, max_digits=12)


class Filter(forms.Form):
    q = forms.CharField(label="Words", required=False)
    state = forms.ChoiceField(
        label="State", required=False, choices=[("", "All"), ("shop", "In the shop"), ("done", "Finished")]
    )
    until = forms.DateField(label="Promised before", widget=DateInput, required=False)
    late = forms.BooleanField(label="Late only", required=False)


class Booking(forms.Form):
    begins = forms.DateTimeField(label="From", widget=DateTimeInput)
    ends = forms.DateTimeField(label="To", widget=DateTimeInput)
    reason = forms.CharField(label="Reason", max_length=40)


def _at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 11, day, hour, minute, tzinfo=ZoneInfo("Europe/Brussels"))


def _content(request: HttpRequest) -> dict:
    bad = Intake({"hours": "1,234", "promised": "soon", "customer": "Mara Quill", "bench": "1"})
    beside = Booking()
    line = {"label": "Reason", "stored": "Wrong stage", "typed": "Forgot the clock"}
    vars(beside)["newer"] = [line]  # as newer.set_beside leaves it
    return {
        "beside": beside,
        "intake": Intake(), "bad": bad, "drawing": Drawing(), "filter": Filter(request.GET or None),
        "booking": Booking(initial={"begins": _at(3, 8), "ends": _at(3, 12), "reason": "Forgot the clock"}),
        "long": LONG, "rtl": RTL, "since": now() - timedelta(hours=2, minutes=7),
        "marks": [
            ("todo", "Not begun"), ("draft", "Draft"), ("doing", "In hand"), ("done", "Finished"),
            ("hold", "On hold: parts"), ("late", "Late by 2 days"), ("kept", "Kept for 26-0031"),
            ("sent", "Sent"), ("near", "Inside the uncertainty"), ("out", "Outside"),
            ("off", "Cancelled"), ("open", "Open"),
        ],
        "cards": [
            {"no": "26-0031", "machine": "Brindlecote B2", "owner": "Mara Quill", "mark": "hold",
             "state": "Waits for parts", "due": _at(6, 16), "sum": D("1840.50")},
            {"no": "26-0029", "machine": "Ostwick 5 pump engine", "owner": "Fenland Drainage Co-operative",
             "mark": "doing", "state": "In hand", "due": _at(12, 12), "sum": D("612")},
            {"no": "26-0027", "machine": LONG, "owner": RTL, "mark": "late", "state": "Late by 2 days",
             "due": _at(1, 9), "sum": D("12999.99")},
            {"no": "26-0026", "machine": "Generator set “Tern” 🛠️", "owner": "Ødegård & Søn", "mark": "done",
             "state": "Finished", "due": None, "sum": None},
        ],
        "tabs": [
            {"label": "Card", "url": "#card", "current": True},
            {"label": "Stages", "url": "#stages", "count": 7},
            {"label": "Parts", "url": "#parts", "count": 0}, {"label": "Time", "url": "#time"},
            {"label": "Measured values", "url": "#values"},
            {"label": "History", "url": "#history", "count": 143},
        ],
        "history": [
            {"when": _at(3, 14, 5), "who": "Ines Torvald", "what": "Signed the gate “ports covered”."},
            {"when": _at(3, 11, 40), "who": "Joss Amble", "what": "Put stage 4 on hold.",
             "why": "Ring set is late at the supplier."},
            {"when": _at(2, 8, 15), "who": RTL, "what": "فتح البطاقة"},
        ],
        "files": [
            {"name": "Plate of the engine", "url": "#f1", "thumb": "/static/ui/mark.svg", "size": 184_000,
             "alt": "Engine plate, number B2-40417", "when": _at(2, 8, 20), "who": "Ines Torvald"},
            {"name": f"{LONG}.pdf", "url": "#f2", "size": 2_340_000, "who": "Joss Amble"},
        ],
        "readings": [
            ("Bore, cylinder 1, top", D("78.021"), D("78.000"), D("78.050"), D("0.004"), "done", "Within"),
            ("Bore, cylinder 1, skirt", D("78.048"), D("78.000"), D("78.050"), D("0.004"), "near",
             "Inside the uncertainty of the limit"),
            ("Bore, cylinder 2, top", D("78.112"), D("78.000"), D("78.050"), D("0.004"), "out", "Outside"),
            ("End float", D("0.18"), None, D("0.25"), None, "done", "Within"),
            ("Compression", D("21.5"), D("24"), None, None, "out", "Outside"),
            ("Piston crown height", None, D("0.6"), D("0.8"), None, "todo", "Not measured"),
        ],
    }  # fmt: skip


@page(None, "GET", "POST")
def specimen(request: HttpRequest) -> HttpResponse:
    if request.method == "POST":
        if request.POST.get("form") == "intake":
            return render(request, "ui/specimen.html", _content(request) | {"intake": Intake(request.POST)}, status=422)
        messages.success(request, "Drawn: 2 of GKT-041 for card 26-0031.")
        return redirect(request.path)
    return render(request, "ui/specimen.html", _content(request))


@page(None, "GET", "POST")
def bench(request: HttpRequest) -> HttpResponse:
    if request.method == "POST":
        return redirect(request.path)
    return render(request, "ui/specimen_bench.html", _content(request))


@page(None)
def plain(request: HttpRequest) -> HttpResponse:
    return render(request, "ui/specimen_plain.html", {"form": Booking()})


@page(None)
def swap(request: HttpRequest) -> HttpResponse:
    """What htmx swaps into the specimen: the same gate, signed once more."""
    again = int(request.GET.get("n", 0)) + 1
    answer = HttpResponse(render_to_string("ui/specimen_swap.html", {"n": again}, request))
    answer["HX-Trigger"] = '{"say": "Gate signed: ports covered"}'
    return answer


@page(None)
def error(request: HttpRequest, status: int) -> HttpResponse:
    if status not in (400, 403, 404, 413, 429, 500, 503):
        raise Http404(reverse("ui:specimen"))
    return render(request, f"{status}.html", status=status)
