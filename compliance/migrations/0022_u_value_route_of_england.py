"""England's rule with the U-value that its regulation states beside the depth of the trade.

0.16 W/m2K for a renovated roof insulated at ceiling level: Approved Document L, volume 1 (2021),
as transcribed by a third party. The figures of Wales, Scotland and Northern Ireland that we know
are from memory or for other kinds of roof, so no rule with them ships; one can be proposed.

Rules that were used are never edited: a new one begins on a later day and asks what the one before
it asks. Where people brought another rule into force themselves, theirs stays.
"""

from __future__ import annotations

from datetime import date, timedelta

from django.db import migrations
from django.utils import timezone

NATION = "england"
NOT_BEFORE = date(2027, 1, 1)
GREATEST_U_VALUE_W_M2K = 0.16
SOURCE = (
    "Depth: common practice of the trade, no published table states it. Or 0.16 W/m2K: Approved "
    "Document L, volume 1 (2021), renovated roof insulated at ceiling level, as transcribed by a "
    "third party."
)
AS_BEFORE = (
    "min_depth_mm",
    "conductivity_w_mk",
    "m2_per_reading",
    "least_readings_per_area",
    "least_before_photos",
    "least_after_photos",
    "photos_at_points",
    "source_kind",
)


def add(apps, schema_editor):
    rules = apps.get_model("compliance", "DepthRule").objects.filter(nation=NATION)
    begins = max(NOT_BEFORE, timezone.localdate() + timedelta(days=1))
    shipped = rules.filter(approved_at__isnull=False).order_by("starts_on", "pk").last()
    if shipped is None or shipped.proposed_by_id is not None:
        return
    if rules.filter(starts_on__gte=begins).exists():
        return
    rules.create(
        nation=NATION,
        starts_on=begins,
        greatest_u_value_w_m2k=GREATEST_U_VALUE_W_M2K,
        source=SOURCE,
        approved_at=timezone.now(),
        **{name: getattr(shipped, name) for name in AS_BEFORE},
    )


class Migration(migrations.Migration):
    dependencies = [("compliance", "0021_everything_enters_the_ledger")]

    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
