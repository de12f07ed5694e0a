"""What is kept apart to be found quickly and follows from facts, for the verifier to follow."""

from __future__ import annotations

from collections.abc import Iterator

from django.db import connection

from compliance.packs.lines import json_line
from compliance.verify.layout import BALANCE, PHOTO_HASH

STEP = 2000
# Balances last: each must be there, so a file that was cut off is found by them.
ROWS = {
    PHOTO_HASH: (
        "SELECT photo_id AS id, job_id, inspection_id, value FROM jobs_photohash ORDER BY photo_id"
    ),
    BALANCE: "SELECT id, depot_id, item_id, quantity, movements FROM jobs_stockbalance ORDER BY id",
}


def derived_lines() -> Iterator[bytes]:
    for table, sql in ROWS.items():
        with connection.cursor() as cursor:
            cursor.execute(sql)
            names = [column.name for column in cursor.description]
            while rows := cursor.fetchmany(STEP):
                for row in rows:
                    yield json_line({"table": table, **dict(zip(names, row, strict=True))})
