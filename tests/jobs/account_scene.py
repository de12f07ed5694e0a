"""What a person does with an invitation and a password."""

from __future__ import annotations

import re

from django.test import Client

from jobs.models import User

OWN_PASSWORD = "a-loft-of-her-own-77"


def link_in(text: str) -> str:
    """The path of the link to set a password, out of a mail or a page."""
    found = re.search(r"http://[^/\s]+(/account/password/reset/key/[^\s<]+)", text)
    assert found, text
    return found[1]


def set_password(path: str) -> tuple[Client, str]:
    """Follow the link and set a password; the browser, and the page that was shown."""
    browser = Client()
    page = browser.get(path, follow=True)
    if "Set a new password" in page.content.decode():
        form = {"password1": OWN_PASSWORD, "password2": OWN_PASSWORD}
        page = browser.post(page.request["PATH_INFO"], form, follow=True)
    return browser, page.content.decode()


def signs_in(person: User, password: str) -> Client:
    browser = Client()
    browser.post("/account/sign-in/", {"login": person.email, "password": password})
    return browser


def is_let_in(browser: Client) -> bool:
    return browser.get("/", follow=True).request["PATH_INFO"] != "/account/sign-in/"
