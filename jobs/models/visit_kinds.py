"""The kinds of visit, shared by visits and by what is still to be planned."""

from __future__ import annotations

from django.db import models


class VisitKind(models.TextChoices):
    SURVEY = "survey", "Survey visit"
    ELECTRICAL = "electrical", "Electrical visit"
    FITTING = "fitting", "Fitting visit"
    CALL_BACK = "call_back", "Call-back"


# Kinds at which insulation is laid; the others only go before.
LAYING_KINDS = (VisitKind.FITTING, VisitKind.CALL_BACK)
