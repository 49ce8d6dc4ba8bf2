"""Posted forms: their fields as text, after the proof that a page of ours sent them."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import Depends, Request

from server.errors import InvalidInput, Problem
from server.sign_in import FORM_FIELD, check_form, check_same_site, session_key

MAX_FIELDS = 1000


class FormFields(dict[str, str]):
    """The fields by name, the last of each; `all` has every one of a name, in order."""

    def __init__(self, pairs: Sequence[tuple[str, str]]) -> None:
        super().__init__(pairs)
        self._pairs = tuple(pairs)

    def all(self, name: str) -> tuple[str, ...]:
        return tuple(value for key, value in self._pairs if key == name)

    def text(self, name: str) -> str:
        """A field without the spaces around it; empty where it is missing."""
        return self.get(name, "").strip()

    def number(self, name: str) -> int:
        """A hidden number of a page of ours. Raises InvalidInput for what is none."""
        word = self.get(name, "")
        if not word.isascii() or not word.isdigit() or len(word) > 15:
            problem = Problem("the form is incomplete.", "Open the page again.", field=name)
            raise InvalidInput("form", [problem])
        return int(word)


async def _read(request: Request) -> FormFields:
    """The body's limit has been applied before."""
    form = await request.form(max_fields=MAX_FIELDS, max_files=1)
    return FormFields([(n, v) for n, v in form.multi_items() if isinstance(v, str)])


async def _checked(request: Request) -> FormFields:
    """Of somebody signed in: cookie, same site and the page's own token."""
    fields = await _read(request)
    check_form(request, fields.get(FORM_FIELD))
    return fields


async def _open(request: Request) -> FormFields:
    """Of anybody: sent from this site; of somebody with a session from a page of that session."""
    fields = await _read(request)
    if session_key(request) is not None:
        check_form(request, fields.get(FORM_FIELD))
    else:
        check_same_site(request)
    return fields


CheckedForm = Annotated[FormFields, Depends(_checked)]
OpenForm = Annotated[FormFields, Depends(_open)]
