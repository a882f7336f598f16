from django.urls import path

from . import pages

app_name = "reference"
urlpatterns = [
    path("", pages.reference, name="index"),
    path("reference/<slug:name>/", pages.tag, name="tag"),
    path("problems/", pages.problem_list, name="problems"),
    path("problems/<slug:code>", pages.problem, name="problem"),
]
