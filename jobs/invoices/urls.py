from django.urls import path

from . import pages

app_name = "invoices"
urlpatterns = [
    path("invoices/", pages.invoices, name="list"),
    path("cards/<int:card>/invoice/", pages.draft, name="draft"),
    path("invoices/<int:pk>/", pages.invoice, name="invoice"),
    path("invoices/<int:pk>/lines/", pages.add_line, name="add-line"),
    path("invoices/<int:pk>/lines/<int:line>/", pages.edit_line, name="edit-line"),
    path("invoices/<int:pk>/whole/", pages.edit_whole, name="edit-whole"),
    path("invoices/<int:pk>/charge/", pages.charge, name="charge"),
    path("invoices/<int:pk>/issue/", pages.issue, name="issue"),
    path("invoices/<int:pk>/discard/", pages.discard, name="discard"),
    path("invoices/<int:pk>/credit/", pages.credit, name="credit"),
    path("invoices/<int:pk>/pdf/", pages.pdf, name="pdf"),
    path("invoices/<int:pk>/cii.xml", pages.electronic, {"syntax": "cii"}, name="cii"),
    path("invoices/<int:pk>/ubl.xml", pages.electronic, {"syntax": "ubl"}, name="ubl"),
    path("customers/<int:customer>/account/", pages.account, name="account"),
    path("customers/<int:customer>/pay/", pages.pay, name="pay"),
    path("customers/<int:customer>/refund/", pages.refund, name="refund"),
    path("customers/<int:customer>/sale/", pages.draft_sale, name="sale"),
    path("payments/<int:pk>/reverse/", pages.reverse_payment, name="reverse"),
]
