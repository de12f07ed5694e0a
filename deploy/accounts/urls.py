"""The pages of allauth that the product uses, under addresses of our own.

Names are allauth's, since its views and templates look them up. Signing up is routed only because
its sign-in page asks for the address; the adapter keeps it closed.
"""

from __future__ import annotations

from allauth.account import views
from django.urls import path, re_path

from deploy.accounts.address import address, address_confirm
from deploy.accounts.views import SignInView

urlpatterns = [
    path("sign-in/", SignInView.as_view(), name="account_login"),
    path("sign-out/", views.logout, name="account_logout"),
    path("closed/", views.signup, name="account_signup"),
    path("inactive/", views.account_inactive, name="account_inactive"),
    path("confirm-password/", views.reauthenticate, name="account_reauthenticate"),
    path("address/", address, name="account_address"),
    path("address/confirm/<str:key>/", address_confirm, name="account_address_confirm"),
    path("password/change/", views.password_change, name="account_change_password"),
    path("password/set/", views.password_set, name="account_set_password"),
    path("password/reset/", views.password_reset, name="account_reset_password"),
    path("password/reset/sent/", views.password_reset_done, name="account_reset_password_done"),
    re_path(
        r"^password/reset/key/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$",
        views.password_reset_from_key,
        name="account_reset_password_from_key",
    ),
    path(
        "password/reset/done/",
        views.password_reset_from_key_done,
        name="account_reset_password_from_key_done",
    ),
]
