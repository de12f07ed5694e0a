"""What `jobs` announces. Others listen; `jobs` knows nobody who does.

Each signal is sent by the domain function that made the change, inside its transaction.
A listener that starts a task does so with `transaction.on_commit`.
"""

from __future__ import annotations

from django.dispatch import Signal

# kwargs: job. Something a verdict depends on was added: a check, photo, reading or handover.
evidence_changed = Signal()

# kwargs: visit. The crew left: the handover is signed.
visit_done = Signal()

# kwargs: visit. A visit was booked, moved or cancelled.
visit_changed = Signal()

# kwargs: job, was (the stage before).
stage_changed = Signal()

# kwargs: photo, about (jobs.evidence.photos.PhotoNote, with whatever else the phone told). Sent
# inside the transaction that makes the row.
photo_stored = Signal()

# kwargs: job_ids, person, what (such as "photo 12"). Somebody was shown evidence, or took it away.
evidence_opened = Signal()
