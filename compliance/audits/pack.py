"""The pack of an audit round: its drawn jobs' evidence, the draw, and pages to read it by."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.utils import timezone

from compliance.audits.pack_lists import lists_of
from compliance.audits.pack_pages import pages_of
from compliance.audits.pictures import Picture, pictures_for
from compliance.audits.report import DRAWN, report_pdf
from compliance.audits.rounds import population_file_name, repeat_command
from compliance.audits.strata import population_pieces
from compliance.certificates.signing import signing_key
from compliance.ledger.facts import FACTS
from compliance.models import AuditRound, Seal
from compliance.packs.scope import PackScope, scope_for
from compliance.packs.verifier import verifier_zipapp
from compliance.verify import layout
from jobs.errors import Conflict
from jobs.models import Job, User

Files = Iterator[tuple[str, Iterator[bytes]]]

ABOUT = """\
THIS IS THE PACK OF AN AUDIT ROUND

Begin with data/audit/index.html in any browser: it needs no connection and leads to a page for
each drawn job, with its photos, readings, checks, certificate and findings.

    data/audit/report.pdf          the report of the round
    data/audit/jobs/               a page for each drawn job
    data/audit/lists/              the same as lists (CSV) for a spreadsheet
    data/audit/pictures/           pictures (SVG), each with its figures (CSV)
    data/audit/population.txt      the jobs that could be drawn, as the ledger's entry hashes them
    data/audit/round.json          terms, nonce and Seal: what the draw was made of
    data/answers/                  files that came with the company's answers
    data/verifier.pyz              the verifier, for a machine that has Python and nothing else:
                                       python data/verifier.pyz PACK --key KEY.pem
                                   Whoever distrusts this pack takes the verifier from elsewhere.

The verifier also repeats the draw. By hand it is repeated with our sampling module:

    {command}
"""


@dataclass(frozen=True, slots=True)
class RoundExtra:
    """What the pack of a round holds beside the facts of its jobs, for this person."""

    record: AuditRound
    user: User | Any
    with_photos: bool

    @property
    def about(self) -> str:
        command = repeat_command(self.record).replace(
            population_file_name(self.record), layout.AUDIT_POPULATION
        )
        return ABOUT.format(command=command.replace(" --", " \\\n        --"))

    def facts(self) -> dict[str, Iterable[int]]:
        """Facts of the round itself: its sealed population, widenings, what follows from it.

        Its population goes as the text that was sealed, job by job only of those drawn.
        """
        models = {model._meta.db_table: model for model in apps.get_models()}
        of_rounds = [
            (table, models[table])
            for table in FACTS
            if table != layout.POPULATION_JOB
            and any(f.name == "round" for f in models[table]._meta.concrete_fields)
        ]
        return {
            table: model._default_manager.filter(round=self.record)
            .values_list("pk", flat=True)
            .iterator()
            for table, model in of_rounds
        }

    def files(self, seal: Seal) -> Files:
        """The small ones first, so that who reads a stream learns early what it is of."""
        yield layout.AUDIT_ROUND, iter([_round_json(self.record)])
        yield layout.AUDIT_POPULATION, population_pieces(self.record)
        pictures = pictures_for(self.user, self.record)
        yield layout.AUDIT_REPORT, iter([self._report(pictures)])
        for picture in pictures:
            name = f"{layout.AUDIT}pictures/{picture.key}"
            yield f"{name}.svg", iter([picture.svg.encode()])
            yield f"{name}.csv", (piece.encode() for piece in picture.data.csv_pieces())
        for name, chunks in lists_of(self.record, self.user):
            yield f"{layout.AUDIT}lists/{name}.csv", chunks
        for name, chunks in pages_of(self.record, self.user, with_photos=self.with_photos):
            yield f"{layout.AUDIT}{name}", chunks
        yield layout.VERIFIER, iter([verifier_zipapp()])

    def _report(self, pictures: Sequence[Picture]) -> bytes:
        return report_pdf(self.record, self.user, made_at=timezone.now(), pictures=pictures)


def round_scope(record: AuditRound, user: User | Any, *, without_photos: bool = False) -> PackScope:
    """The pack of a round's drawn jobs, as far as this person may see them.

    Raises:
        Conflict: the round is not drawn yet.
        Refused: none of its jobs is visible to this person, or they are too many.
    """
    if record.state not in DRAWN or record.seal_id is None:
        raise Conflict("There is a pack once the sample is drawn.")
    jobs = Job.objects.filter(draws__round=record)
    scope = scope_for(
        user,
        jobs,
        f"{record.scheme}: audit round “{record.name}”",
        left_out={"photos"} if without_photos else set(),
        seals=[record.seal_id],
    )
    return with_extra(scope, RoundExtra(record, user, not without_photos))


def with_extra(scope: PackScope, extra: RoundExtra) -> PackScope:
    return PackScope(
        scope.jobs,
        scope.title,
        scope.withheld,
        scope.left_out,
        scope.kinds_apart,
        scope.seals,
        extra,
    )


def _round_json(record: AuditRound) -> bytes:
    assert record.seal is not None
    said = {
        "round": record.pk,
        "name": record.name,
        "scheme": record.scheme.name,
        "state": record.state,
        "terms": record.population_seal.terms,
        "population": record.population_size,
        "population_sha256": record.population_sha256,
        "nonce_commitment": record.nonce_commitment,
        "nonce": record.nonce_hex,
        "seal": record.seal_id,
        "seal_root": record.seal.root_hex,
        "report_key": signing_key().fingerprint,
        "sample_size": record.sample_size,
        "accept_at_most": record.accept_at_most,
        "strata": record.population_seal.strata,
        "widenings": record.widenings.count(),
        "accepted": record.accepted,
    }
    return json.dumps(said, ensure_ascii=False, indent=1).encode() + b"\n"
