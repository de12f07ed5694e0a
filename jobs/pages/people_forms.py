"""Forms for accounts, and the filter of their list."""

from __future__ import annotations

from typing import Any

from django import forms

from jobs.models import Company, Role, Scheme, User
from jobs.pages.platform_filters import ListFilter
from jobs.platform.people import Capacity, Name, roles_opened_by

STATES = (
    ("", "Open and closed"),
    ("open", "Open"),
    ("closed", "Closed"),
    ("never", "Never signed in"),
)


class PersonForm(forms.Form):
    """Who a person is. A planner's people are of its own company, so it is not asked for one."""

    first_name = forms.CharField(max_length=150)
    last_name = forms.CharField(max_length=150, required=False)
    role = forms.ChoiceField()
    company = forms.ModelChoiceField(
        Company.objects.none(),
        required=False,
        empty_label="No company",
        help_text="For a planner, surveyor, installer or compliance officer.",
    )
    scheme = forms.ModelChoiceField(
        Scheme.objects.none(),
        required=False,
        empty_label="No scheme",
        help_text="For a scheme auditor.",
    )
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        role, company, scheme = (self.fields[name] for name in ("role", "company", "scheme"))  # type: Any
        role.choices = [("", "Choose"), *((r.value, r.label) for r in roles_opened_by(by))]
        if by.role == Role.PLATFORM_ADMIN:
            company.queryset = Company.objects.visible_to(by)
            scheme.queryset = Scheme.objects.visible_to(by)
        else:
            del self.fields["company"], self.fields["scheme"]

    @property
    def name(self) -> Name:
        return Name(self.cleaned_data["first_name"], self.cleaned_data["last_name"])

    @property
    def capacity(self) -> Capacity:
        given = self.cleaned_data
        return Capacity(given["role"], given.get("company"), given.get("scheme"))


class NewPersonForm(PersonForm):
    """The address is given once; it is what the person signs in with."""

    email = forms.EmailField(
        label="E-mail address", help_text="The invitation to set a password goes here."
    )
    field_order = ("email",)


class AddressForm(forms.Form):
    """Another address to sign in with."""

    email = forms.EmailField(label="New e-mail address")
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)


def person_values(person: User) -> dict[str, Any]:
    """What the form shows of a person to begin with."""
    names = ("first_name", "last_name", "role", "company", "scheme", "version")
    return {name: getattr(person, name) for name in names}


class PeopleFilter(ListFilter):
    search = forms.CharField(required=False, label="Name or e-mail address")
    role = forms.ChoiceField(required=False, choices=[("", "Any role"), *Role.choices])
    company = forms.ModelChoiceField(
        Company.objects.none(), required=False, empty_label="Any company"
    )
    scheme = forms.ModelChoiceField(Scheme.objects.none(), required=False, empty_label="Any scheme")
    state = forms.ChoiceField(required=False, label="Account", choices=STATES)
    orders = {
        "name": ("first_name", "last_name", "pk"),
        "role": ("role", "email"),
        "company": ("company__name", "scheme__name", "email"),
        "signed_in": ("last_login", "pk"),
    }

    def __init__(self, data: Any, *, user: User) -> None:
        super().__init__(data)
        self.user = user
        company, scheme = self.fields["company"], self.fields["scheme"]  # type: Any
        if user.role == Role.PLATFORM_ADMIN:
            company.queryset = Company.objects.visible_to(user)
            scheme.queryset = Scheme.objects.visible_to(user)
        else:
            del self.fields["company"], self.fields["scheme"]

    def people(self, order: str = "") -> Any:
        chosen = self.chosen
        people = User.objects.visible_to(self.user).with_place().search(chosen.get("search", ""))
        for name in ("role", "company", "scheme"):
            if name in chosen:
                people = people.filter(**{name: chosen[name]})
        state = chosen.get("state", "")
        if state == "never":
            people = people.never_signed_in()
        elif state:
            people = people.filter(is_active=state == "open")
        return people.order_by(*self.order(order, "name"))
