"""Names and passwords as forms: Django's own, with their checks, in this book's sentences."""

from typing import Any

from django.contrib.auth.forms import BaseUserCreationForm, PasswordChangeForm, SetPasswordForm
from django.contrib.auth.models import User

from breeder.base.form_messages import PlainForm

RULES = "At least 10 letters and signs; not like the name, and not a common password."
LABELS = {
    "old_password": "Your current password",
    "new_password1": "New password",
    "new_password2": "The same password again",
    "password1": "Password",
    "password2": "The same password again",
}


class PlainPasswords(PlainForm):
    """Mix in first: labels of this book, and the rules of a password in one line."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, label in LABELS.items():
            if name in self.fields:
                self.fields[name].label = label
                self.fields[name].help_text = RULES if name.endswith("1") else ""


class OwnPasswordForm(PlainPasswords, PasswordChangeForm):
    """One's own new password; asks for the old one."""


class HelperPasswordForm(PlainPasswords, SetPasswordForm):
    """A new password for a helper who lost theirs, or who may come back."""


class NewHelperForm(PlainPasswords, BaseUserCreationForm):
    """The name and first password of a helper."""

    class Meta:
        model = User
        fields = ("username",)
        labels = {"username": "Name"}
        help_texts = {"username": "They log in with it, and it stands beside what they do."}

    def validate_unique(self) -> None:
        """Leave it to the action, which says it in this book's words."""
