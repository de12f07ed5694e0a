"""Crews with visits, and an API token for each, in the database of the stack under test.

Run as a program in the stack's own environment: `python -m tests.faults.seeding CREWS`.
"""

from __future__ import annotations

import json
import sys

import django


def seed(crews: int) -> list[dict[str, object]]:
    from rest_framework.authtoken.models import Token

    from tests.jobs.on_site_scene import booked_scene

    scenes = [booked_scene() for _ in range(crews)]
    return [
        {
            "visit": scene.visit.pk,
            "job": scene.job.pk,
            "token": Token.objects.create(user=scene.installer).key,
        }
        for scene in scenes
    ]


if __name__ == "__main__":
    django.setup()
    print(json.dumps(seed(int(sys.argv[1]))))
