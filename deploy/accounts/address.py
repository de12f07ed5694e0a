"""Pages where a person asks for another e-mail address of its own, and makes it count."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import get_adapter
from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from jobs.errors import Refused
from jobs.models import Role, User
from jobs.pages.access import open_page, page_for
from jobs.pages.people_forms import AddressForm
from jobs.pages.refusals import REFUSED, show_refusal, tried
from jobs.platform.addresses import Asked, ask_own_address, asked_by, confirm_address
from jobs.platform.invitations import days_to_set_password
from jobs.platform.mail_bounds import refuse_too_often


class PasswordForm(forms.Form):
    """The password of whom a link is for; counts as a sign-in, with the same bounds."""

    password = forms.CharField(
        label="Your password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, *args: Any, request: HttpRequest, asked: Asked, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request, self.asked = request, asked

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        who = self.asked.person
        found = get_adapter().authenticate(self.request, email=who.email, password=password)
        if found is None or found.pk != who.pk:
            raise forms.ValidationError("This is not the password of this account.")
        return password


@page_for(*Role)
def address(request: HttpRequest) -> HttpResponse:
    """Ask for another address of one's own."""
    form = AddressForm(request.POST or None)
    if request.method == "POST" and tried(request, form, lambda given: _ask(request, given)):
        return redirect("account_address")
    context = {"form": form, "days": days_to_set_password()}
    return render(request, "account/address.html", context, status=REFUSED if form.errors else 200)


def _ask(request: HttpRequest, given: Any) -> str:
    """Whether somebody else has the address is not told."""
    email = given["email"]
    refuse_too_often(request, email)
    ask_own_address(User.objects.get(pk=request.user.pk), email)
    return f"Unless another account has it, a link is on its way to {email}."


@open_page
def address_confirm(request: HttpRequest, key: str) -> HttpResponse:
    """Where the link in the mail leads: with the password, the new address counts."""
    try:
        asked = asked_by(key)
    except Refused:
        return render(request, "account/address_confirm.html", {"over": True})
    form = PasswordForm(request.POST or None, request=request, asked=asked)
    if request.method == "POST" and form.is_valid():
        try:
            person = confirm_address(asked)
        except Refused as refusal:
            show_refusal(form, refusal)
        else:
            messages.success(request, f"From now on you sign in with {person.email}.")
            return redirect("home" if request.user.is_authenticated else "account_login")
    context = {"form": form, "asked": asked}
    status = REFUSED if form.errors else 200
    return render(request, "account/address_confirm.html", context, status=status)
