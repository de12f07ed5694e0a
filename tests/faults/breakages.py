"""Servers broken on purpose, to see that the fault tests would notice.

Each is put into a freshly forked process and takes a promise back that the real code keeps.
"""

from __future__ import annotations

import io
import os
import threading
import time
from collections.abc import Callable
from typing import Any

from deploy.redelivery import ONLY_WORKER_VARIABLE

LATE_S = 5.0
ANSWERED_S = 0.5

ONLY_ONE = "certificate_only_where_the_rule_is_met"


def gap() -> None:
    """Called when a promise is broken and not yet made good: the moment to kill."""


def acknowledge_before_commit() -> None:
    """The last piece is answered while its transaction is still open."""
    from django.db import connection, transaction

    from jobs.uploads import receiving

    finish = receiving._finish

    def finish_later(upload: Any, last: Any) -> Any:
        written = threading.Event()

        def work() -> None:
            try:
                with transaction.atomic():
                    finish(upload, last)
                    written.set()
                    time.sleep(ANSWERED_S)
                    gap()
                    time.sleep(LATE_S)
            finally:
                written.set()
                connection.close()

        threading.Thread(target=work).start()
        written.wait()
        return upload

    receiving._finish = finish_later


def acknowledge_before_fsync() -> None:
    """Nothing is fsynced."""
    from jobs.uploads import receiving

    os.fsync = lambda at: None
    finish = receiving._finish

    def finish_and_tell(upload: Any, last: Any) -> Any:
        finished = finish(upload, last)
        threading.Timer(2 * ANSWERED_S, gap).start()
        return finished

    receiving._finish = finish_and_tell


def photo_row_before_file() -> None:
    """The row of a photo is written first, its file a moment later."""
    from jobs.evidence import photos
    from jobs.uploads import receiving

    keep_photo = photos.keep_photo

    def only_named(stream: Any) -> Any:
        content = stream.read()
        while more := stream.read():
            content += more
        kept = _as_if_kept(content, photos.FOLDER)
        later(lambda: keep_photo(io.BytesIO(content)))
        return photos.KeptPhoto(kept, "image/jpeg")

    receiving.keep_photo = only_named


def certificate_row_before_file() -> None:
    """The row of a certificate is written first, its PDF a moment later."""
    from compliance.certificates import issue, storage

    def only_named(pdf: bytes) -> Any:
        later(lambda: storage.store_pdf(pdf))
        return _as_if_kept(pdf, storage.FOLDER)

    issue.store_pdf = only_named


def forget_what_is_known() -> None:
    """A photo sent again is another photo, under a key of its own."""
    from dataclasses import replace
    from uuid import uuid4

    from jobs.evidence import photos
    from jobs.uploads import receiving

    record = photos.record_photo

    def recorded_anew(visit: Any, photo: Any, about: Any, by: Any) -> Any:
        if photos._known(visit, photo.kept, about.client_key) is not None:
            gap()
            other = photo.kept.sha256[::-1]
            photo = replace(photo, kept=replace(photo.kept, sha256=other))
            about = replace(about, client_key=uuid4())
        return record(visit, photo, about, by)

    receiving._known_photo = lambda *known: None
    receiving.record_photo = recorded_anew


def issue_without_looking() -> None:
    """A certificate is issued whether there is one or not, and this process may write it."""
    import pgtrigger

    from compliance.certificates import issue

    class Nothing:
        def filter(self, **_: Any) -> Nothing:
            return self

        def first(self) -> None:
            return None

    class Rows:
        class objects:
            create = issue.Certificate.objects.create
            current = Nothing

    write_row = issue._write_row

    def written_unseen(*certificate: Any) -> Any:
        with pgtrigger.ignore(f"compliance.Certificate:{ONLY_ONE}"):
            written = write_row(*certificate)
        gap()
        time.sleep(LATE_S)
        return written

    issue.Certificate = Rows
    issue._write_row = written_unseen


def never_catch_up() -> None:
    """What a killed worker had in hand is looked for by nobody."""
    from compliance import tasks

    def late(job_id: int) -> None:
        gap()
        time.sleep(LATE_S)

    tasks.jobs_to_assess = lambda now: []
    tasks.left_to_certify = list
    tasks.certify.delay = late
    os.environ.pop(ONLY_WORKER_VARIABLE, None)


def certificate_of_another_day() -> None:
    """What is printed is not what the row remembers."""
    from dataclasses import replace

    from compliance.certificates import issue

    make = issue.make_pdf

    def other(contents: Any) -> bytes:
        gap()
        return make(replace(contents, min_depth_mm=100.0))

    issue.make_pdf = other


def _as_if_kept(content: bytes, folder: str) -> Any:
    import hashlib

    from jobs.evidence.content_store import Kept

    digest = hashlib.sha256(content).hexdigest()
    return Kept(f"{folder}/{digest[:2]}/{digest}", digest, len(content))


def later(act: Callable[[], object]) -> None:
    threading.Timer(0.2, gap).start()  # by then the row is committed
    threading.Timer(LATE_S, act).start()


BREAKAGES: dict[str, Callable[[], None]] = {
    breakage.__name__: breakage
    for breakage in (
        acknowledge_before_commit,
        acknowledge_before_fsync,
        photo_row_before_file,
        certificate_row_before_file,
        forget_what_is_known,
        issue_without_looking,
        never_catch_up,
        certificate_of_another_day,
    )
}
