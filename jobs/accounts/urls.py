from django.urls import path

from . import pages

app_name = "accounts"
urlpatterns = [
    path("accounts/", pages.ages, name="ages"),
    path("accounts/ages.csv", pages.ages_csv, name="ages-csv"),
    path("accounts/letters/", pages.letters, name="letters"),
    path("accounts/letters/<int:pk>/pdf/", pages.letter_pdf, name="letter-pdf"),
    path("accounts/disputes/<int:pk>/end/", pages.end_dispute, name="end-dispute"),
    path("accounts/storage/", pages.storage, name="storage"),
    path("cards/<int:card>/storage/", pages.bill_storage, name="bill-storage"),
    path("invoices/<int:pk>/dispute/", pages.dispute, name="dispute"),
    path("customers/<int:customer>/remind/", pages.remind, name="remind"),
    path("customers/<int:customer>/statement/", pages.statement, name="statement"),
    path("customers/<int:customer>/statement.pdf", pages.statement_pdf, name="statement-pdf"),
]
