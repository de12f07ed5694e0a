"""The sign-in page."""

from __future__ import annotations

from typing import Any

from allauth.account.views import LoginView
from django.conf import settings

from deploy.accounts.demo import demo_sign_ins


class SignInView(LoginView):
    """Sign in by e-mail and password; on a machine of one's own, with the demo's people."""

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context: dict[str, Any] = super().get_context_data(**kwargs)
        if settings.SHOW_DEMO_SIGN_INS:
            context["demo_sign_ins"] = demo_sign_ins()
        return context
