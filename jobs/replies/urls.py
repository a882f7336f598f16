from django.urls import path

from .pages import public, staff

app_name = "replies"
urlpatterns = [
    path("estimates/<int:pk>/links/", staff.links, name="links"),
    path("estimates/links/<int:pk>/mail/", staff.mail, name="mail"),
    path("estimates/links/<int:pk>/revoke/", staff.revoke, name="revoke"),
    path("r/<str:token>/", public.document, name="document"),
    path("r/<str:token>/document.pdf", public.pdf, name="pdf"),
    path("r/<str:token>/photos/<int:pk>/", public.photo, name="photo"),
    path("r/<str:token>/photos/<int:pk>/small/", public.small_photo, name="small-photo"),
]
