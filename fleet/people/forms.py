"""Signing in, one's own account, and adding or changing people."""

from typing import Any, cast

from django import forms
from django.contrib.auth import password_validation
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import QueryDict

from fleet.people.models import Person, SignInRule
from fleet.people.proof import password_field
from fleet.people.queries import PERSON_FACTS, person_fingerprint, places_to_give, role_of
from fleet.people.roles import Role
from fleet.people.scope import in_tree_order
from fleet.web.forms import alternative, day_field, offer, words_field

_NO_FIT = "This name and password do not fit together. Capital letters count in the password."


class SignInForm(AuthenticationForm):
    """Name and password."""

    error_messages = {"invalid_login": _NO_FIT, "inactive": _NO_FIT}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Sign-in name"


class CodeInput(forms.TextInput):
    """A field that comes back empty: a code that was refused is not the next one."""

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        """Show nothing of what was typed."""
        del value
        return super().get_context(name, None, attrs)


def code_field(label: str = "Code from your app", hint: str = "The six digits that it shows now.") -> forms.CharField:
    """A code of the app: a big field, digits on a phone, filled in by a browser that knows it."""
    digits = {"inputmode": "numeric", "autocomplete": "one-time-code", "class": "code", "size": "7"}
    return forms.CharField(label=label, help_text=hint, max_length=20, widget=CodeInput(attrs=digits))


class ConfirmForm(forms.Form):
    """A code that proves that the app holds the secret, right after the password."""

    code = code_field()


class CodeForm(ConfirmForm):
    """The second question of a sign-in: the field is ready to be typed into."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].widget.attrs["autofocus"] = True


_RECOVERY = {"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false", "class": "code recovery"}


class RecoveryForm(CodeForm):
    """The same, answered by a recovery code."""

    code = forms.CharField(
        label="Recovery code",
        help_text="One that you have not used yet. Capital letters and hyphens make no difference.",
        max_length=20,
        widget=CodeInput(attrs=_RECOVERY),
    )


class TurnOnForm(forms.Form):
    """A code that proves that the app holds the secret, and the password again."""

    code = code_field()
    password = password_field()


class FactorForm(forms.Form):
    """The password and a code, for a change of the second factor."""

    password = password_field()
    code = forms.CharField(
        label="Code from your app",
        help_text="The six digits that it shows now, or one of your recovery codes.",
        max_length=20,
        widget=CodeInput(attrs={**_RECOVERY, "autocomplete": "one-time-code", "class": "code"}),
    )


class RemoveFactorForm(forms.Form):
    """Why the second factor of another person is removed."""

    why = words_field("Why", hint="What was lost, and how you know that it is they who asked.")


class SignInRuleForm(forms.Form):
    """Who must have a second factor."""

    second_factor = forms.ChoiceField(
        label="Who must have a second factor", choices=SignInRule.Must, widget=forms.RadioSelect
    )
    why = words_field("Why")


class OwnForm(forms.ModelForm):
    """What everybody may change about themselves."""

    class Meta:
        model = Person
        fields = ("display_name", "phone", "wants_digest")
        labels = {"wants_digest": "Send me the morning e-mail"}
        help_texts = {"phone": "Shown to the bench with what you report."}


class PlaceTree(forms.CheckboxSelectMultiple):
    """Places as check boxes, indented as they lie in each other; `depths` is filled with the choices."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.depths: dict[str, int] = {}

    def create_option(self, name: str, value: Any, *args: Any, **kwargs: Any) -> dict[str, Any]:
        """One check box with its depth."""
        return {**super().create_option(name, value, *args, **kwargs), "depth": self.depths.get(str(value), 0)}


class PlacesField(forms.ModelMultipleChoiceField):
    """Any number of places of the tree."""

    widget = PlaceTree

    def grow(self) -> None:
        """Read the tree. Called once a form, so that a new ward is there without a restart."""
        self.queryset = places_to_give()
        rows = list(in_tree_order(self.queryset))
        self.widget.depths = {str(place.pk): depth for place, depth in rows}
        self.choices = [(place.pk, place.name) for place, _ in rows]


class PersonForm(forms.ModelForm):
    """A person as the administrator keeps them. The actions save it, not the form."""

    role = forms.ChoiceField(choices=[(role.value, role.label) for role in Role], widget=forms.RadioSelect)
    places = PlacesField(
        queryset=Person.objects.none(),
        required=False,
        label="Places",
        help_text="The person sees these and what lies in them. Without any, and without “all places”, they see none.",
    )

    class Meta:
        model = Person
        fields: tuple[str, ...] = (
            "display_name",
            "email",
            "phone",
            "role",
            "everywhere",
            "places",
            "wants_digest",
            "is_active",
        )
        labels = {
            "email": "E-mail",
            "everywhere": "Sees all places",
            "wants_digest": "Gets the morning e-mail",
            "is_active": "May sign in",
        }
        help_texts = {
            "email": "For the morning e-mail.",
            "is_active": "Without the tick, the person is signed out at once.",
        }

    opened = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.stands: list[tuple[str, str]] = []
        places = self.fields["places"]
        if isinstance(places, PlacesField):
            places.grow()
        if self.instance.pk:
            self.initial["opened"] = person_fingerprint(self.instance)
        else:
            del self.fields["opened"]

    def show_what_stands(self, row: Person) -> None:
        """After a conflict: tell what `row` holds now where it differs from what was typed; the next saving counts."""
        typed, role = self.cleaned_data, role_of(row)
        now = {name: getattr(row, name) for name in PERSON_FACTS}
        told = [(name, _in_words(held)) for name, held in now.items() if typed[name] != held]
        if (role.value if role else "") != typed["role"]:
            told.append(("role", role.label if role else "none"))
        places = list(row.places.order_by("name"))
        if {place.pk for place in places} != {place.pk for place in typed["places"]}:
            told.append(("places", ", ".join(str(place) for place in places) or "none"))
        self.stands = [(str(self.fields[name].label or name), words) for name, words in told]
        data = cast("QueryDict", self.data).copy()
        data["opened"] = person_fingerprint(row)
        self.data = data

    def _post_clean(self) -> None:
        """Leave the row alone: the actions change it."""


def _in_words(held: object) -> str:
    if isinstance(held, bool):
        return "yes" if held else "no"
    return str(held) or "nothing"


class PasswordForm(forms.Form):
    """A password that somebody sets for another person."""

    password = forms.CharField(
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least 10 characters, better 15 or more: a few words. Hand it over in person, and ask them to "
        "change it under “Your account”.",
    )

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person

    def clean_password(self) -> str:
        """Refuse a weak one, and say why."""
        password: str = self.cleaned_data["password"]
        password_validation.validate_password(password, self.person)
        return password


class NewPersonForm(PersonForm):
    """The same for somebody new, with a sign-in name and a first password."""

    username = forms.CharField(
        label="Sign-in name",
        max_length=150,
        validators=[Person.username_validator],
        help_text="Letters, digits and @ . + - _ only. It stays for good.",
        widget=forms.TextInput(attrs={"autocapitalize": "none", "autocomplete": "off"}),
    )
    password = PasswordForm.base_fields["password"]
    field_order = ("username", "display_name", "password")

    class Meta(PersonForm.Meta):
        fields: tuple[str, ...] = tuple(name for name in PersonForm.Meta.fields if name != "is_active")

    def clean(self) -> dict[str, Any]:
        """Refuse a weak password, also one that holds the person's own name."""
        data = super().clean() or {}
        known = {name: data.get(name, "") for name in ("username", "display_name", "email")}
        if "password" in data:
            try:
                password_validation.validate_password(data["password"], Person(**known))
            except ValidationError as error:
                self.add_error("password", error)
        return data


class AbsenceForm(forms.Form):
    """Days on which somebody is away; whose days may be chosen only by whoever keeps those of colleagues."""

    person = forms.ModelChoiceField(queryset=Person.objects.none(), label="Who", empty_label=None)
    first = day_field("First day away")
    last = day_field("Last day away", hint="The same day for a single one.")
    reason = forms.CharField(
        label="Why",
        max_length=120,
        required=False,
        help_text="Need not be said. Only the person and whoever enters it can read it; others see “away”.",
    )

    def __init__(self, *args: Any, people: QuerySet[Person], own: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("person", own.pk)
        offer(self, "person", people)
        alternative(self.fields["reason"])
        if not people.exclude(pk=own.pk).exists():
            self.fields["person"].widget = forms.HiddenInput()
