"""The public check of a certificate: valid or not, cautions, nobody's name or address."""

from __future__ import annotations

import hashlib

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from django.urls import reverse

from compliance.assess import assess_job
from compliance.certificates.code import ALPHABET, check_character, new_code, read_code
from compliance.certificates.issue import issue_certificate
from compliance.certificates.lookups import LOOKUPS_A_MINUTE
from compliance.certificates.withdraw import withdraw_certificate
from jobs.errors import Refused
from tests.compliance.scene import certified_scene
from tests.factories import DepthReadingFactory

pytestmark = pytest.mark.django_db


def words_of(response) -> str:
    return " ".join(response.content.decode().split())


def test_a_valid_certificate_is_confirmed_without_signing_in(client):
    _, certificate = certified_scene()

    words = words_of(client.get(reverse("check_certificate", args=[certificate.code])))

    assert "<h1>Valid</h1>" in words
    assert "270" in words
    assert "Put nothing on the insulation" in words


def test_no_person_and_no_home_is_named(client):
    scene, certificate = certified_scene(property__householder_name="Quentin Uniquename")

    words = words_of(client.get(reverse("check_certificate", args=[certificate.code])))

    home = scene.job.property
    for secret in (
        "Uniquename",
        home.address_line_1,
        home.postcode,
        scene.installer.last_name,
        scene.visit.crew.name,
        "A. Householder",
    ):
        assert secret not in words


def test_a_withdrawn_certificate_says_so_and_why_without_what_was_typed(client):
    scene, certificate = certified_scene()
    officer = scene.person("compliance_officer")
    withdraw_certificate(certificate, "Mrs Uniquename rewired it", officer, kind="loft_changed")

    words = words_of(client.get(reverse("check_certificate", args=[certificate.code])))

    assert "<h1>Withdrawn</h1>" in words
    assert "the loft was changed after it was measured" in words
    assert f"{certificate.withdrawal.withdrawn_at:%-d %b %Y}" in words
    assert "No newer certificate" in words
    assert "Uniquename" not in words
    assert str(officer) not in words


def test_what_a_new_verdict_took_back_says_so(client):
    scene, certificate = certified_scene()
    DepthReadingFactory(visit=scene.visit, area=scene.area, x_mm=4000, y_mm=3000, depth_mm=80)
    assess_job(scene.job.pk)

    words = words_of(client.get(reverse("check_certificate", args=[certificate.code])))

    assert "a new assessment of the loft no longer meets the rule" in words


def test_a_superseded_one_names_the_newer(client):
    scene, certificate = certified_scene()
    officer = scene.person("compliance_officer")
    withdraw_certificate(certificate, "wrong house number", officer, kind="mistake")
    newer = issue_certificate(scene.job.pk, officer)

    words = words_of(client.get(reverse("check_certificate", args=[certificate.code])))

    assert "<h1>Superseded</h1>" in words
    assert reverse("check_certificate", args=[newer.code]) in words
    assert "something on it was wrong" in words
    assert scene.job.property.address_line_1 not in words


def test_it_says_which_key_signed_and_hands_its_certificate_out(client):
    _, certificate = certified_scene()
    page = words_of(client.get(reverse("check_certificate", args=[certificate.code])))

    pem = client.get(reverse("check_key", args=[certificate.key_fingerprint])).content

    der = x509.load_pem_x509_certificate(pem).public_bytes(Encoding.DER)
    assert hashlib.sha256(der).hexdigest() == certificate.key_fingerprint
    assert certificate.key_fingerprint in page
    assert "the key in use" in page
    assert client.get(reverse("check_key", args=["0" * 64])).status_code == 404


def test_a_code_is_read_however_it_is_typed(client):
    _, certificate = certified_scene()
    typed = certificate.code.lower().replace("-", " ")

    response = client.get(reverse("check"), {"code": f" {typed} "})

    assert response.url == reverse("check_certificate", args=[certificate.code])


def test_a_slip_is_told_before_anything_is_looked_up(client):
    _, certificate = certified_scene()
    wrong = ("A" if certificate.code[0] != "A" else "C") + certificate.code[1:]

    response = client.get(reverse("check"), {"code": wrong})

    assert "Type the twelve characters again" in words_of(response)


def test_an_unknown_code_is_a_friendly_404(client):
    response = client.get(reverse("check_certificate", args=[new_code()]))

    assert response.status_code == 404
    assert "There is no certificate with this code" in words_of(response)


def test_guessing_is_slowed_down(client):
    address = reverse("check_certificate", args=[new_code()])
    for _ in range(LOOKUPS_A_MINUTE):
        assert client.get(address).status_code == 404

    response = client.get(address)

    assert response.status_code == 429
    assert response["Retry-After"] == "60"
    assert client.get(address, REMOTE_ADDR="192.0.2.7").status_code == 404


def test_the_alphabet_has_no_look_alikes_and_is_prime():
    assert len(set(ALPHABET)) == len(ALPHABET) == 23
    assert not set(ALPHABET) & set("01258BILOSUVZ")


def test_every_single_slip_and_every_neighbours_swap_is_found():
    code = new_code()
    bare = code.replace("-", "")

    wrong = {bare[:i] + c + bare[i + 1 :] for i in range(12) for c in ALPHABET if c != bare[i]}
    wrong |= {
        bare[:i] + bare[i + 1] + bare[i] + bare[i + 2 :]
        for i in range(11)
        if bare[i] != bare[i + 1]
    }

    assert read_code(bare) == code
    assert check_character(bare[:-1]) == bare[-1]
    for text in wrong:
        with pytest.raises(Refused):
            read_code(text)


@pytest.mark.parametrize(
    "typed", ["", "ACDE", "ACDE-3467-XYTR-9", "OOOO-0000-IIII", "ÄÖÜ", "🏠" * 12]
)
def test_what_cannot_be_a_code_is_refused(typed: str):
    with pytest.raises(Refused, match="cannot be the code"):
        read_code(typed)
