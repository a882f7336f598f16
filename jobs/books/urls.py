from django.urls import path

from . import pages

app_name = "books"
urlpatterns = [
    path("books/", pages.entries, name="journal"),
    path("books/journal.csv", pages.entries_csv, name="journal-csv"),
    path("books/totals/", pages.totals, name="totals"),
    path("books/totals.csv", pages.totals_csv, name="totals-csv"),
    path("books/months/", pages.months, name="months"),
    path("books/close/", pages.close, name="close"),
    path("books/reopen/", pages.reopen, name="reopen"),
    path("books/accounts/", pages.accounts, name="accounts"),
    path("books/accounts/choose/", pages.choose, name="choose"),
    path("books/work-in-progress/", pages.progress, name="progress"),
    path("books/earned/", pages.jobs, name="earned"),
    path("books/earned.csv", pages.jobs_csv, name="earned-csv"),
    path("books/work-in-progress.csv", pages.progress_csv, name="progress-csv"),
]
