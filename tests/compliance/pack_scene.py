"""A small ledger with every kind of fact, and packs of it: where tests of packs begin."""

from __future__ import annotations

import hashlib
import io
import os
import zipfile
from dataclasses import dataclass
from typing import Any

from compliance.assess import assess_job
from compliance.audits.findings import record_finding
from compliance.audits.follow_up import turn_down
from compliance.audits.rounds import (
    RoundTerms,
    commit_round,
    draw_sample,
    seal_population,
    widen_round,
)
from compliance.certificates.withdraw import withdraw_certificate
from compliance.ledger.seals import make_seal, public_bytes, seal_key
from compliance.packs.export import zip_chunks
from compliance.packs.scope import PackScope
from compliance.personal.erasing import answer_request, ask_erasure
from compliance.verify import MemorySource, PackReport, verify_pack
from compliance.waivers import answer_waiver
from jobs.evidence.content_store import keep
from jobs.models import Photo
from tests.access.worlds import World, build
from tests.compliance.edited_scene import edited_rows
from tests.compliance.scene import certified_scene, look_at
from tests.factories import (
    ArrivalFactory,
    CompanyFactory,
    DepthReadingFactory,
    LeaveFactory,
    PhotoFactory,
    SchemeFactory,
    StopWorkFactory,
    UserFactory,
    VariationFactory,
    WorkStepFactory,
)

SITE_FACTS = (ArrivalFactory, WorkStepFactory, VariationFactory, LeaveFactory, StopWorkFactory)

Files = dict[str, bytes]


@dataclass(frozen=True)
class PackScene:
    """world: a certified and a short job with audits. apart: another company's certified job."""

    world: World
    apart: int

    @property
    def jobs(self) -> list[int]:
        return [self.world.job.pk, self.world.shortfall.job_id]


def pack_scene() -> PackScene:
    """Facts of two companies mixed in one ledger, with Seals in between and one correction."""
    company, scheme = CompanyFactory(name="Invented Lofts A"), SchemeFactory(name="Warm Trial S")
    scheme.companies.add(company)
    world = build(World, "own", company, scheme)
    apart, _ = certified_scene(photo=stored_photo)
    certified_scene(company=company, scheme=scheme, photo=stored_photo)
    widened_round(world)
    edited_rows(world)
    for site_fact in SITE_FACTS:
        site_fact(visit=world.booked_visit)
    reading = world.visit.depth_readings.first()
    DepthReadingFactory(
        visit=reading.visit,
        area=reading.area,
        x_mm=reading.x_mm,
        y_mm=reading.y_mm,
        depth_mm=281,
        measured_by=reading.measured_by,
        replaces=reading,
        correction_reason="read the gauge wrong",
    )
    make_seal()
    officer = world.people["compliance_officer"]
    withdraw_certificate(world.certificate, "opened up for rewiring", officer)
    assess_job(world.job.pk)
    second = UserFactory(role="compliance_officer", company=company)
    turn_down(world.follow_up, officer, "It was put right the next day")
    answer_waiver(world.waiver, False, second, "It can be topped up")
    request = ask_erasure(world.shortfall.job, ["signatures"], "The household asked", officer)
    answer_request(request, True, second)
    make_seal()
    return PackScene(world, apart.job.pk)


def widened_round(world: World) -> None:
    """A round over two jobs that drew one, found it defective, and then drew the other."""
    terms = RoundTerms(
        name="Widened",
        period_from=world.round.period_from,
        period_to=world.round.period_to,
        plan="confidence",
        confidence=0.5,
    )
    auditor = world.people["auditor"]
    nonce = "6e" * 32
    committed = hashlib.sha256(bytes.fromhex(nonce)).hexdigest()
    begun = commit_round(world.scheme, auditor, terms, committed)
    drawn = draw_sample(seal_population(begun), nonce)
    record_finding(drawn.drawn_jobs.get(), auditor, severity="minor", text="Thin at the hatch")
    widen_round(drawn, "One of one was defective", auditor)


def stored_photo(of_bytes: int = 2_000, **fields: Any) -> Photo:
    """A photo whose bytes are stored, though no picture, with a small copy that is one."""
    kept = keep(io.BytesIO(os.urandom(of_bytes)), "photos", limit_bytes=of_bytes)
    stored = {"sha256": kept.sha256, "size_bytes": kept.size_bytes, "original_name": kept.name}
    return look_at(PhotoFactory(**stored, **fields))


def own_key() -> list[bytes]:
    """The public key of the Seals, as somebody trusts it."""
    return [public_bytes(seal_key().public_key())]


def pack_of(scope: PackScope) -> bytes:
    """A pack as its zip."""
    return b"".join(zip_chunks(scope))


def files_of(scope: PackScope) -> Files:
    """The files of a pack, named relative to the bag."""
    with zipfile.ZipFile(io.BytesIO(pack_of(scope))) as packed:
        return {name.partition("/")[2]: packed.read(name) for name in packed.namelist()}


def check(files: Files, **options: object) -> PackReport:
    return verify_pack(MemorySource(files), own_key(), **options)  # type: ignore[arg-type]
