"""The depth rules of the four nations, as data with their source.

270 mm (England, Wales, Northern Ireland) and 350 mm (Scotland): common practice, no published
source. The dates are the beginning of our records, not of a regulation.
"""

from __future__ import annotations

from datetime import date

from django.db import migrations
from django.utils import timezone

BEGINS = date(2020, 1, 1)
SOURCE = (
    "Common practice of the trade for mineral wool at joist level; no published table states it."
)
MIN_DEPTH_MM = {"england": 270, "wales": 270, "northern_ireland": 270, "scotland": 350}


def add(apps, schema_editor):
    rules = apps.get_model("compliance", "DepthRule").objects
    for nation, depth_mm in MIN_DEPTH_MM.items():
        rules.get_or_create(
            nation=nation,
            starts_on=BEGINS,
            defaults={
                "min_depth_mm": depth_mm,
                "source": SOURCE,
                "source_kind": "common_practice",
                "approved_at": timezone.now(),
            },
        )


class Migration(migrations.Migration):
    dependencies = [("compliance", "0002_facts_enter_the_ledger")]

    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
