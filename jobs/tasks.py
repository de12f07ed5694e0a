"""Celery tasks of `jobs`. Each takes an id, loads, calls one domain function; safe to run twice."""

from __future__ import annotations

from celery import shared_task
from django.db import OperationalError

from jobs.evidence import inspection, stopping
from jobs.intake import batches
from jobs.models import IntakeBatch, Job, Photo, User
from jobs.platform import addresses, invitations
from jobs.surveying import quantities
from jobs.uploads import cleaning


@shared_task
def look_through_intake_batch(batch_id: int) -> None:
    """Read a spreadsheet that was received and judge its rows."""
    batches.preview(IntakeBatch.objects.select_related("company", "scheme").get(pk=batch_id))


@shared_task
def take_in_intake_batch(batch_id: int) -> None:
    """Take in the good rows of a batch that was claimed for import."""
    batches.import_batch(
        IntakeBatch.objects.select_related("company", "scheme", "sent_by").get(pk=batch_id)
    )


@shared_task
def resume_intake() -> None:
    """Send batches again that were left lying half read or half taken in."""
    for batch_id, state in batches.left_lying():
        reading = state == IntakeBatch.State.READING
        (look_through_intake_batch if reading else take_in_intake_batch).delay(batch_id)


@shared_task(autoretry_for=(OSError,), retry_backoff=5, max_retries=6)
def inspect_photo(photo_id: int) -> None:
    """Look at a photo that was stored: EXIF, small copies, what speaks against it."""
    inspection.inspect(Photo.objects.select_related("visit", "job__property").get(pk=photo_id))


@shared_task
def inspect_waiting_photos() -> None:
    """Send photos that no inspection followed, such as those stored while the broker was down."""
    for photo_id in inspection.waiting_photo_ids():
        inspect_photo.delay(photo_id)


@shared_task
def clear_expired_uploads() -> int:
    """Drop uploads that nobody went on with, and their bytes; how many went."""
    return cleaning.clear_expired_uploads()


@shared_task(autoretry_for=(OperationalError,), retry_backoff=2, max_retries=8)
def quantify_job(job_id: int) -> int | None:
    """Work out the layers of a job whose survey is finished; the id of its layer plan."""
    return quantities.quantify_if_due(Job.objects.with_place().get(pk=job_id))


@shared_task(autoretry_for=(OperationalError,), retry_backoff=2, max_retries=8)
def quantify_job_again(job_id: int) -> int | None:
    """Work out the layers of a job with the roll types of today; the id of its layer plan."""
    return quantities.quantify_in_background(Job.objects.with_place().get(pk=job_id))


@shared_task
def quantify_waiting_jobs() -> None:
    """Send jobs that no layer plan followed, such as those surveyed while the broker was down."""
    for job_id in quantities.waiting_job_ids():
        quantify_job.delay(job_id)


@shared_task(autoretry_for=(OSError,), retry_backoff=5, max_retries=6)
def send_invitation(user_id: int) -> bool:
    """Mail a person the link to set its password; False if there is none to set any more."""
    return invitations.send_invitation_mail(User.objects.with_place().get(pk=user_id))


@shared_task(autoretry_for=(OSError,), retry_backoff=5, max_retries=6)
def send_address_link(user_id: int, email: str, version: int) -> bool:
    """Mail the link that makes an address count; False if the account was changed meanwhile."""
    return addresses.send_link_mail(User.objects.get(pk=user_id), email, version)


@shared_task(autoretry_for=(OSError,), retry_backoff=5, max_retries=6)
def tell_former_address(user_id: int, former: str, email: str, what: str, by: str) -> None:
    """Tell the address a person signed in with that another is asked for, or counts now."""
    person = User.objects.with_place().get(pk=user_id)
    addresses.tell_former(person, former, email, what, by)


@shared_task(autoretry_for=(OSError,), retry_backoff=5, max_retries=6)
def tell_office_of_stop(stop_id: int) -> bool:
    """Mail the planners that work was stopped; False if they were told before."""
    return stopping.tell_office(stop_id)


@shared_task
def tell_office_of_untold_stops() -> None:
    """Send stops that no mail followed, such as those recorded while the broker was down."""
    for stop_id in stopping.untold_stop_ids():
        tell_office_of_stop.delay(stop_id)
