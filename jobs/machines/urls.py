from django.urls import path

from . import pages

app_name = "machines"
urlpatterns = [
    path("customers/", pages.customers, name="customers"),
    path("customers/new/", pages.add_customer, name="add-customer"),
    path("customers/<int:pk>/", pages.customer, name="customer"),
    path("customers/<int:pk>/edit/", pages.edit_customer, name="edit-customer"),
    path("customers/<int:pk>/archive/", pages.archive_customer, name="archive-customer"),
    path("customers/<int:pk>/restore/", pages.restore_customer, name="restore-customer"),
    path("customers/<int:pk>/mail-consent/", pages.mail_consent, name="mail-consent"),
    path("machines/", pages.machines, name="list"),
    path("machines/new/", pages.add_machine, name="add-machine"),
    path("machines/<int:pk>/", pages.machine, name="machine"),
    path("machines/<int:pk>/edit/", pages.edit_machine, name="edit-machine"),
    path("machines/<int:pk>/move/", pages.move_machine, name="move-machine"),
    path("machines/<int:pk>/archive/", pages.archive_machine, name="archive-machine"),
    path("machines/<int:pk>/restore/", pages.restore_machine, name="restore-machine"),
    path("machines/<int:pk>/readings/", pages.read_usage, name="read-usage"),
]
