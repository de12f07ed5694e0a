"""The pages of accounts: a platform admin's, and those of planners for their own people."""

from __future__ import annotations

import pytest
from django.test import Client
from rest_framework.authtoken.models import Token

from jobs.errors import Conflict, Refused
from jobs.models import User
from jobs.platform.invitations import invitation_link
from jobs.platform.people import Capacity, Name, change_person, close_account, open_account
from jobs.tasks import send_invitation
from tests.factories import PASSWORD, CompanyFactory, OperativeFactory, UserFactory
from tests.jobs.account_scene import OWN_PASSWORD, is_let_in, link_in, set_password, signs_in
from tests.jobs.planner_scene import an_office, signed_in

pytestmark = pytest.mark.django_db

PERSON = {"email": "new@example.test", "first_name": "Ada", "last_name": "Rook"}


@pytest.fixture
def admin() -> User:
    return UserFactory(role="platform_admin")


# --- Opening an account


def test_who_is_invited_sets_a_password_once_and_signs_in(
    admin, mailoutbox, django_capture_on_commit_callbacks
):
    company = CompanyFactory()
    form = PERSON | {"role": "planner", "company": company.pk}

    with django_capture_on_commit_callbacks(execute=True):
        answer = signed_in(admin).post("/people/new/", form)

    person = User.objects.get(email=PERSON["email"])
    assert answer.headers["Location"] == f"/people/{person.pk}/"
    assert not person.has_usable_password()
    (mail,) = mailoutbox
    assert mail.to == [person.email]
    assert f"planner of {company}" in mail.body

    _, page = set_password(link_in(mail.body))
    assert "password" in page.lower()
    _, again = set_password(link_in(mail.body))
    assert "This link no longer works" in again

    assert is_let_in(signs_in(person, OWN_PASSWORD))


def test_the_link_is_shown_once_to_who_opened_the_account(admin):
    client = signed_in(admin)
    url = client.post("/people/new/", PERSON | {"role": "platform_admin"}).headers["Location"]

    first, second = (client.get(url).content.decode() for _ in range(2))

    assert link_in(first)
    assert "/password/reset/key/" not in second


def test_a_planner_never_sees_the_link_of_an_account_it_opens(
    mailoutbox, django_capture_on_commit_callbacks
):
    client = signed_in(UserFactory(role="planner"))

    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post("/people/new/", PERSON | {"role": "compliance_officer"})
    page = client.get(answer.headers["Location"]).content.decode()

    assert len(mailoutbox) == 1
    assert "/password/reset/key/" not in page


def test_another_invitation_only_while_no_password_is_set(
    admin, mailoutbox, django_capture_on_commit_callbacks
):
    waiting = open_account("a@example.test", Name("A"), Capacity("platform_admin"), by=admin)
    settled = UserFactory()
    client = signed_in(admin)

    with django_capture_on_commit_callbacks(execute=True):
        client.post(f"/people/{waiting.pk}/invite/")
        refused = client.post(f"/people/{settled.pk}/invite/", follow=True)

    assert [mail.to for mail in mailoutbox] == [[waiting.email]]
    assert "has set a password already" in refused.content.decode()
    assert "/password/reset/key/" not in refused.content.decode()


def test_an_invitation_that_comes_late_is_not_sent(admin, mailoutbox):
    person = open_account("a@example.test", Name("A"), Capacity("platform_admin"), by=admin)
    person.set_password(PASSWORD)
    person.save()

    assert send_invitation(person.pk) is False
    assert mailoutbox == []


@pytest.mark.parametrize(
    ("given", "field", "said"),
    [
        ({"email": ""}, "email", "Fill this in."),
        ({"email": "not an address"}, "email", "valid"),
        ({"email": "TAKEN@example.test"}, "email", "has an account already"),
        ({"first_name": "", "last_name": " "}, "first_name", "Fill this in."),
        ({"role": ""}, "role", "Choose one."),
        ({"role": "king"}, "role", "valid choice"),
        ({"company": ""}, "company", "needs a company"),
        ({"company": "0"}, "company", "valid choice"),
        ({"role": "auditor", "company": ""}, "scheme", "needs a scheme"),
        ({"role": "auditor"}, "company", "has no company"),
        ({"role": "platform_admin"}, "company", "has no company"),
    ],
)
def test_a_wrong_value_of_an_account_is_told_at_its_field(admin, given, field, said):
    company = CompanyFactory()
    UserFactory(email="taken@example.test", company=company)
    form = PERSON | {"role": "planner", "company": company.pk}

    answer = signed_in(admin).post("/people/new/", form | given)

    assert said in str(answer.context["form"].errors[field])
    assert not User.objects.filter(email=PERSON["email"]).exists()


# --- Planners


@pytest.mark.parametrize("role", ["planner", "surveyor", "installer", "compliance_officer"])
def test_a_planner_opens_accounts_of_its_company(role):
    office = an_office()

    signed_in(office.planner).post("/people/new/", PERSON | {"role": role})

    person = User.objects.get(email=PERSON["email"])
    assert (person.role, person.company) == (role, office.company)


@pytest.mark.parametrize("role", ["auditor", "platform_admin"])
def test_a_planner_opens_no_other_account(role):
    office = an_office()

    answer = signed_in(office.planner).post("/people/new/", PERSON | {"role": role})

    assert "valid choice" in str(answer.context["form"].errors["role"])
    with pytest.raises(Refused, match="A planner opens no account of this role"):
        open_account("b@example.test", Name("B"), Capacity(role), by=office.planner)
    with pytest.raises(Refused, match="not your company"):
        elsewhere = Capacity("planner", CompanyFactory())
        open_account("b@example.test", Name("B"), elsewhere, by=office.planner)


def test_a_planners_company_is_not_chosen_by_what_is_sent():
    office, other = an_office(), CompanyFactory()

    signed_in(office.planner).post(
        "/people/new/", PERSON | {"role": "planner", "company": other.pk}
    )

    assert User.objects.get(email=PERSON["email"]).company == office.company


def test_a_planner_closes_and_reopens_its_own_people():
    office = an_office()
    person, client = office.person("installer"), signed_in(office.planner)

    client.post(f"/people/{person.pk}/close/")
    assert not User.objects.get(pk=person.pk).is_active
    client.post(f"/people/{person.pk}/reopen/")
    assert User.objects.get(pk=person.pk).is_active


def test_a_planner_sees_and_closes_nobody_elses(admin):
    office, stranger = an_office(), an_office().person("installer")
    auditor = UserFactory(role="auditor", scheme=office.scheme)
    client = signed_in(office.planner)

    listed = client.get("/people/").content.decode()
    for other in (stranger, auditor, admin):
        assert other.email not in listed
        assert client.get(f"/people/{other.pk}/").status_code == 404
        for act in ("close", "reopen", "invite"):
            assert client.post(f"/people/{other.pk}/{act}/").status_code == 404
        with pytest.raises(Refused, match="not yours to keep"):
            close_account(other, by=office.planner)
        assert User.objects.get(pk=other.pk).is_active


def test_a_planner_changes_no_role():
    office = an_office()
    person = office.person("installer")

    signed_in(office.planner).post(f"/people/{person.pk}/", PERSON | {"role": "planner"})

    assert User.objects.get(pk=person.pk).role == "installer"
    with pytest.raises(Refused, match="Only a platform admin"):
        change_person(person, Name("A"), Capacity("planner", office.company), by=office.planner)


@pytest.mark.parametrize("role", ["surveyor", "installer", "compliance_officer", "auditor"])
def test_other_roles_keep_no_accounts(role):
    office = an_office()
    other = office.person("installer")
    client = signed_in(UserFactory(role=role))

    for url in ("/people/", "/people/new/", f"/people/{other.pk}/"):
        assert client.get(url).status_code == client.post(url).status_code == 404
    assert client.post(f"/people/{other.pk}/close/").status_code == 404


# --- Closing an account


def test_a_closed_account_is_let_in_nowhere(admin):
    person = UserFactory()
    token = Token.objects.create(user=person)
    browser = signs_in(person, PASSWORD)
    api = {"Authorization": f"Token {token.key}"}
    assert is_let_in(browser)
    assert Client().get("/api/v1/people/", headers=api).status_code == 200

    signed_in(admin).post(f"/people/{person.pk}/close/")

    assert not is_let_in(browser)
    assert not is_let_in(signs_in(person, PASSWORD))
    assert Client().get("/api/v1/people/", headers=api).status_code == 401
    asked = Client().post("/api/v1/token/", {"email": person.email, "password": PASSWORD})
    assert asked.status_code == 400
    assert not Token.objects.filter(user=person).exists()


def test_reopening_revives_no_session_and_no_token(admin):
    person = UserFactory()
    token, browser = Token.objects.create(user=person), signs_in(person, PASSWORD)
    keeper = signed_in(admin)

    keeper.post(f"/people/{person.pk}/close/")
    keeper.post(f"/people/{person.pk}/reopen/")

    assert not is_let_in(browser)
    again = Client().get("/api/v1/people/", headers={"Authorization": f"Token {token.key}"})
    assert again.status_code == 401
    assert is_let_in(signs_in(person, PASSWORD))


def test_closing_ends_an_invitation_and_reopening_sends_another(
    admin, mailoutbox, django_capture_on_commit_callbacks
):
    person = open_account("a@example.test", Name("A"), Capacity("platform_admin"), by=admin)
    link = link_in(invitation_link(person))
    keeper = signed_in(admin)

    with django_capture_on_commit_callbacks(execute=True):
        keeper.post(f"/people/{person.pk}/close/")
        keeper.post(f"/people/{person.pk}/reopen/")

    assert "This link no longer works" in set_password(link)[1]
    (mail,) = mailoutbox
    assert "This link no longer works" not in set_password(link_in(mail.body))[1]


def test_the_last_platform_admin_stays(admin):
    gone = UserFactory(role="platform_admin", is_active=False)
    company = CompanyFactory()

    answer = signed_in(admin).post(f"/people/{admin.pk}/close/", follow=True)

    assert "last platform admin who can sign in" in answer.content.decode()
    with pytest.raises(Conflict, match="last platform admin"):
        close_account(admin, by=gone)
    with pytest.raises(Conflict, match="last platform admin"):
        change_person(admin, Name("A"), Capacity("planner", company), by=gone)
    assert User.objects.get(pk=admin.pk).is_active


def test_one_of_two_platform_admins_may_go_but_nobody_closes_itself(admin):
    second = UserFactory(role="platform_admin")

    with pytest.raises(Refused, match="cannot close your own"):
        close_account(admin, by=admin)
    assert not close_account(second, by=admin).is_active


# --- Changing what a person is


def test_a_role_is_changed_within_the_company(admin):
    office = an_office()
    person = office.person("installer")
    form = {"first_name": "Ada", "role": "planner", "company": office.company.pk, "version": 1}
    client, url = signed_in(admin), f"/people/{person.pk}/"

    client.post(url, form)
    late = client.post(url, form | {"role": "surveyor"})

    person.refresh_from_db()
    assert (person.role, person.first_name, person.version) == ("planner", "Ada", 2)
    assert "was changed by someone else" in str(late.context["form"].errors)


@pytest.mark.parametrize(
    ("role", "company", "scheme", "field"),
    [
        ("planner", False, False, "company"),
        ("planner", True, True, "scheme"),
        ("auditor", False, False, "scheme"),
        ("auditor", True, True, "company"),
        ("platform_admin", True, False, "company"),
        ("platform_admin", False, True, "scheme"),
        ("king", True, False, "role"),
    ],
)
def test_a_capacity_that_cannot_be_is_refused(admin, role, company, scheme, field):
    person, office = UserFactory(), an_office()
    capacity = Capacity(
        role, office.company if company else None, office.scheme if scheme else None
    )

    with pytest.raises(Refused) as refused:
        change_person(person, Name("A"), capacity, by=admin)

    assert refused.value.field == field
    assert refused.value.remedy


def test_who_an_operative_signs_in_as_stays_on_site(admin):
    office = an_office()
    person = office.person("installer")
    OperativeFactory(company=office.company, user=person)

    change_person(person, Name("A"), Capacity("surveyor", office.company), by=admin)
    for elsewhere in (Capacity("planner", office.company), Capacity("surveyor", CompanyFactory())):
        with pytest.raises(Conflict, match="is the sign-in of the operative"):
            change_person(person, Name("A"), elsewhere, by=admin)


def test_nobody_changes_its_own_role_but_may_change_its_name(admin):
    UserFactory(role="platform_admin")

    assert (
        change_person(admin, Name("New"), Capacity("platform_admin"), by=admin).first_name == "New"
    )
    with pytest.raises(Refused, match="your own role"):
        change_person(admin, Name("A"), Capacity("planner", CompanyFactory()), by=admin)
