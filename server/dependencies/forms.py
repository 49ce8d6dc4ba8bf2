"""The fields of a posted form, for what must be read before a session is open."""

from typing import Annotated

from fastapi import Depends, Request

MAX_FIELDS = 60


async def _fields(request: Request) -> dict[str, str]:
    """Text fields by name; of a repeated one the last. The body limit has been applied before."""
    if request.method != "POST":
        return {}
    form = await request.form(max_fields=MAX_FIELDS)
    return {name: value for name, value in form.items() if isinstance(value, str)}


Fields = Annotated[dict[str, str], Depends(_fields)]
