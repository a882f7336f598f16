from django.urls import path

from .pages import rates, shop, time

app_name = "business"
urlpatterns = [
    path("business/", shop.profile, name="profile"),
    path("business/edit/", shop.edit_profile, name="edit"),
    path("business/terms/", shop.terms, name="terms"),
    path("business/terms/edit/", shop.edit_terms, name="edit-terms"),
    path("business/sites/", shop.sites, name="sites"),
    path("business/sites/new/", shop.add_site, name="add-site"),
    path("business/sites/<int:pk>/", shop.edit_site, name="edit-site"),
    path("business/sites/<int:pk>/archive/", shop.archive_site, name="archive-site"),
    path("business/hours/", time.hours, name="hours"),
    path("business/hours/<int:weekday>/", time.set_hours, name="set-hours"),
    path("business/hours/rows/<int:pk>/close/", time.close_weekday, name="close-weekday"),
    path("business/closed-days/new/", time.close_day, name="close-day"),
    path("business/closed-days/<int:pk>/open/", time.open_day, name="open-day"),
    path("business/vat/", rates.vat, name="vat"),
    path("business/vat/new/", rates.add_vat, name="add-vat"),
    path("business/vat/<int:pk>/", rates.edit_vat, name="edit-vat"),
    path("business/vat/<int:pk>/change/", rates.change_vat, name="change-vat"),
    path("business/vat/<int:pk>/end/", rates.end_vat, name="end-vat"),
    path("business/vat/<int:pk>/default/", rates.default_vat, name="default-vat"),
    path("business/labour/", rates.labour, name="labour"),
    path("business/labour/new/", rates.add_labour, name="add-labour"),
    path("business/labour/<int:pk>/", rates.edit_labour, name="edit-labour"),
    path("business/labour/<int:pk>/remove/", rates.remove_labour, name="remove-labour"),
]
