from django.urls import path

from .pages import signing

app_name = "people"
urlpatterns = [
    path("sign-in/", signing.sign_in, name="sign-in"),
    path("sign-in/code/", signing.code, name="code"),
    path("sign-out/", signing.sign_out, name="sign-out"),
]
