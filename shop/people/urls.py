from django.urls import path

from .pages import own, signing, staff, tablet

app_name = "people"
urlpatterns = [
    path("sign-in/", signing.sign_in, name="sign-in"),
    path("sign-in/code/", signing.code, name="code"),
    path("sign-out/", signing.sign_out, name="sign-out"),
    path("me/", own.me, name="me"),
    path("me/password/", own.password, name="password"),
    path("me/pin/", own.pin, name="pin"),
    path("me/pin/remove/", own.pin_remove, name="pin-remove"),
    path("me/tokens/add/", own.token, name="token"),
    path("me/tokens/<int:pk>/revoke/", own.token_revoke, name="token-revoke"),
    path("me/two-step/", own.two_step, name="two-step"),
    path("me/two-step/codes/", own.recovery, name="recovery"),
    path("me/two-step/off/", own.two_step_off, name="two-step-off"),
    path("people/", staff.people, name="list"),
    path("people/add/", staff.add, name="add"),
    path("people/<int:pk>/", staff.edit, name="edit"),
    path("people/<int:pk>/password/", staff.give_password, name="give-password"),
    path("people/<int:pk>/two-step/off/", staff.two_step_off, name="end-two-step"),
    path("people/<int:pk>/sign-out/", staff.sign_out_everywhere, name="sign-out-everywhere"),
    path("tablets/", tablet.enrol, name="tablets"),
    path("tablets/<int:pk>/revoke/", tablet.revoke, name="tablet-revoke"),
    path("tablet/", tablet.pick, name="tablet"),
    path("tablet/<int:pk>/", tablet.pad, name="pad"),
]
