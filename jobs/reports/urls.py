from django.urls import path

from . import pages

app_name = "reports"
urlpatterns = [
    path("reports/", pages.hub, name="hub"),
    path("reports/hours/", pages.hours_page, name="hours"),
    path("reports/hours.csv", pages.hours_csv, name="hours-csv"),
    path("reports/hours/sold/", pages.sold, name="sold"),
    path("reports/estimates/", pages.accuracy_page, name="accuracy"),
    path("reports/estimates.csv", pages.accuracy_csv, name="accuracy-csv"),
]
