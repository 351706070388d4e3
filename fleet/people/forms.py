"""Signing in."""

from django.contrib.auth.forms import AuthenticationForm


class SignInForm(AuthenticationForm):
    """Name and password."""

    error_messages = {
        "invalid_login": "This name and password do not fit together. Capital letters count in the password.",
        "inactive": "This name and password do not fit together. Capital letters count in the password.",
    }
