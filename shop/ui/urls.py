"""The specimen of the component kit; mounted under /ui/ only when DEBUG is on."""

from django.urls import path

from shop.ui import specimen

app_name = "ui"
urlpatterns = [
    path("specimen/", specimen.specimen, name="specimen"),
    path("specimen/bench/", specimen.bench, name="specimen-bench"),
    path("specimen/plain/", specimen.plain, name="specimen-plain"),
    path("specimen/swap/", specimen.swap, name="specimen-swap"),
    path("specimen/error/<int:status>/", specimen.error, name="specimen-error"),
]
