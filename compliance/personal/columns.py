"""Every column that can hold words, a position or a document, and what an erasure does with it.

A new column has to be named here, or a test fails: either the kind of personal data with which it
is erased, or why it is kept. The history of a table goes by its table.
"""

from __future__ import annotations

from compliance.personal.kinds import CONTACT, NOTES, PHOTOS, REASONS, SIGNATURES

# Table -> column -> the kind with which it is erased.
ERASED_WITH: dict[str, dict[str, str]] = {
    "jobs_property": dict.fromkeys(
        ("householder_name", "householder_phone", "householder_email", "access_notes"), CONTACT
    ),
    "jobs_intakerow": {"values": CONTACT, "problems": CONTACT},
    "jobs_handover": dict.fromkeys(("signed_name", "signature_svg", "not_done_reason"), SIGNATURES),
    "jobs_arrival": dict.fromkeys(
        ("let_in_by", "latitude_deg", "longitude_deg", "note"), SIGNATURES
    ),
    "jobs_leave": dict.fromkeys(("latitude_deg", "longitude_deg", "note"), SIGNATURES),
    "jobs_photo": {"note": PHOTOS},
    "jobs_photoinspection": {"exif_latitude_deg": PHOTOS, "exif_longitude_deg": PHOTOS},
    "jobs_prestartcheck": {"note": NOTES},
    "jobs_workstep": {"note": NOTES},
    "jobs_depthreading": {"correction_reason": NOTES},
    "jobs_variation": {"reason": NOTES},
    "jobs_stopwork": {"reason": NOTES},
    "jobs_job": {"called_off_reason": NOTES},
    "jobs_survey": {"access_note": NOTES, "note": NOTES},
    "jobs_visitneed": {"note": NOTES},
    "jobs_agreedwindow": {"note": NOTES},
    "jobs_visit": {"note": NOTES, "stop_reason": NOTES},
    "compliance_waiver": {"reason": REASONS},
    "compliance_waiveranswer": {"note": REASONS},
    "compliance_certificatewithdrawal": {"reason": REASONS},
    "compliance_legalhold": {"reason": REASONS, "lifted_because": REASONS},
}

BUILDING = "says which building was worked on, as long as verdicts and certificates on it are kept"
LOFT = "describes the loft, and drawings and verdicts were worked out from it"
VERDICT = (
    "figures and sentences of the service, which repeat none of the crew's words; older ones do, "
    "and are kept so that they are judged again to the letter"
)
ISSUED = "printed and signed: which building it is of, and what was left undone there"
ERASING = "why data were erased; without it nobody could tell an erasure from a loss"
AUDIT = (
    "what an auditor judges of the work, and what is answered; asked without names. Whoever is "
    "audited may not blank what was found"
)
STAFF = "of people who work for the company, the scheme or the platform, not of a household"
OURS = "of the company's own things"
SERVICE = "written by the service: figures, codes, names of files or of versions"
FORGOTTEN = "deleted when a person's job is erased, or when what it is for has ended"

# Table -> why none of its columns is erased, or column -> why that one is not.
KEPT: dict[str, str | dict[str, str]] = {
    "jobs_property": dict.fromkeys(
        (
            "reference",
            "address_line_1",
            "address_line_2",
            "town",
            "postcode",
            "latitude_deg",
            "longitude_deg",
        ),
        BUILDING,
    ),
    "jobs_company": OURS,
    "jobs_scheme": OURS,
    "jobs_user": STAFF,
    "jobs_depot": OURS,
    "jobs_stockitem": OURS,
    "jobs_companyrolltype": OURS,
    "jobs_stockorder": OURS,
    "jobs_stockmovement": OURS,
    "jobs_vanloading": SERVICE,
    "jobs_van": OURS,
    "jobs_crew": STAFF,
    "jobs_operative": STAFF,
    "jobs_absence": STAFF,
    "jobs_calendarfeed": SERVICE,
    "jobs_loftarea": LOFT,
    "jobs_obstacle": LOFT,
    "jobs_fixture": LOFT,
    "jobs_hazard": LOFT,
    "jobs_visitneed": {"part_hours": SERVICE, "set_by_hand": SERVICE},
    "jobs_prestartcheck": {"answers": SERVICE},
    "jobs_photo": {
        "point_label": SERVICE,
        "sha256": SERVICE,
        "media_type": SERVICE,
        "original_name": SERVICE,
    },
    "jobs_photoinspection": {
        "inspector_version": SERVICE,
        "exif_time_source": SERVICE,
        "device": STAFF,
        "warnings": SERVICE,
        "display_name": SERVICE,
        "thumb_name": SERVICE,
    },
    "jobs_handover": {"cautions_given": SERVICE},
    "jobs_arrival": {"operative_ids": STAFF},
    "jobs_workstep": {"answers": SERVICE},
    "jobs_stopwork": {"found": SERVICE, "to_call": SERVICE},
    "jobs_stopnotice": STAFF,
    "jobs_idempotentcreate": FORGOTTEN,
    "jobs_upload": FORGOTTEN,
    "jobs_uploadpiece": FORGOTTEN,
    "jobs_intakebatch": {
        "file_name": FORGOTTEN,
        "stored_name": SERVICE,
        "sha256": SERVICE,
        "refusal": SERVICE,
    },
    "jobs_layerplan": SERVICE,
    "jobs_officeprices": OURS,
    "jobs_planrun": SERVICE,
    "jobs_proposedvisit": SERVICE,
    "jobs_travelleg": SERVICE,
    "compliance_depthrule": OURS,
    "compliance_assessment": VERDICT,
    "compliance_ledgerentry": "facts as they entered; what is erased of them entered as a hash",
    "compliance_historysalt": SERVICE,
    "compliance_seal": SERVICE,
    "compliance_auditround": AUDIT,
    "compliance_populationjob": AUDIT,
    "compliance_populationseal": AUDIT,
    "compliance_auditwidening": AUDIT,
    "compliance_drawnjob": AUDIT,
    "compliance_switchingstep": AUDIT,
    "compliance_finding": AUDIT,
    "compliance_findingdraft": AUDIT,
    "compliance_pointsseen": AUDIT,
    "compliance_findinganswer": AUDIT,
    "compliance_findingreply": AUDIT,
    "compliance_answerevidence": AUDIT,
    "compliance_answerinspection": AUDIT,
    "compliance_auditfollowup": AUDIT,
    "compliance_auditfollowupanswer": AUDIT,
    "compliance_remeasurement": AUDIT,
    "compliance_evidenceaccess": SERVICE,
    "compliance_certificate": ISSUED,
    "compliance_certificatekey": OURS,
    "compliance_erasurerequest": ERASING,
    "compliance_erasure": ERASING,
    "compliance_retentionperiod": OURS,
    "compliance_issuerunjob": SERVICE,
    "compliance_rulerunjob": SERVICE,
    "compliance_bytestoremove": SERVICE,
}
