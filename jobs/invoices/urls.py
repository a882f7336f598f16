from django.urls import path

from .pages import cores, invoices, money

app_name = "invoices"
urlpatterns = [
    path("cards/<int:card>/close-without-invoice/", invoices.close_card, name="close-card"),
    path("invoices/", invoices.invoices, name="list"),
    path("cards/<int:card>/invoice/", invoices.draft, name="draft"),
    path("cards/<int:card>/deposit/", invoices.deposit, name="deposit"),
    path("invoices/<int:pk>/deposits/", invoices.take_off, name="take-off"),
    path("invoices/<int:pk>/", invoices.invoice, name="invoice"),
    path("invoices/<int:pk>/lines/", invoices.add_line, name="add-line"),
    path("invoices/<int:pk>/lines/<int:line>/", invoices.edit_line, name="edit-line"),
    path("invoices/<int:pk>/whole/", invoices.edit_whole, name="edit-whole"),
    path("invoices/<int:pk>/charge/", invoices.charge, name="charge"),
    path("invoices/<int:pk>/issue/", invoices.issue, name="issue"),
    path("invoices/<int:pk>/discard/", invoices.discard, name="discard"),
    path("invoices/<int:pk>/credit/", invoices.credit, name="credit"),
    path("invoices/<int:pk>/pdf/", invoices.pdf, name="pdf"),
    path("invoices/<int:pk>/cii.xml", invoices.electronic, {"syntax": "cii"}, name="cii"),
    path("invoices/<int:pk>/ubl.xml", invoices.electronic, {"syntax": "ubl"}, name="ubl"),
    path("invoices/cores/", cores.out, name="cores"),
    path("invoices/cores/<int:line>/take/", cores.take, name="take-core"),
    path("invoices/cores/<int:line>/keep/", cores.keep, name="keep-core"),
    path("invoices/cores/records/<int:pk>/undo/", cores.undo, name="undo-core"),
    path("cards/<int:card>/old-part/", cores.hand_in, name="hand-in-core"),
    path("customers/<int:customer>/account/", money.account, name="account"),
    path("customers/<int:customer>/pay/", money.pay, name="pay"),
    path("customers/<int:customer>/refund/", money.refund, name="refund"),
    path("customers/<int:customer>/deposit/", invoices.deposit_sale, name="deposit-sale"),
    path("customers/<int:customer>/sale/", invoices.draft_sale, name="sale"),
    path("payments/<int:pk>/allocate/", money.allocate, name="allocate"),
    path("invoices/<int:pk>/allocate/", money.allocate_credit, name="allocate-credit"),
    path("payments/<int:pk>/reverse/", money.reverse_payment, name="reverse"),
]
