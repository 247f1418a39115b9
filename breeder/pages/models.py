"""Tokens of forms that were sent, so that a second sending is answered and not repeated."""

from django.db import models


class Token(models.Model):
    """A form's token once its action was done, with the answer that it got."""

    key = models.CharField(max_length=40, primary_key=True)
    answer = models.CharField(max_length=300)
    at = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return self.key
