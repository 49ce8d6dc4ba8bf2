"""HTML over HTTP: one frozen context per template; every text in it is made before it is shown."""

from fastapi import APIRouter

from server.pages import (
    account,
    account_command,
    account_data,
    account_factors,
    account_home,
    account_people,
    account_prove,
    account_provider,
    account_reset,
    account_security,
    account_sign_in,
    account_sign_up,
    account_tokens,
    compare,
    following,
    journal,
    live,
    moderating,
    my_bench,
    reading,
    revisions,
    send,
    send_last,
    send_photos,
    send_pieces,
    send_readings,
    send_steps,
    things,
    version,
)

router = APIRouter()
accounts = (
    account_sign_in,
    account_sign_up,
    account_reset,
    account_prove,
    account_provider,
    account_home,
    account_security,
    account_factors,
    account_tokens,
    account_data,
    account_command,
    account_people,
    account,
)
# A draft's address takes any word: what stands under /send by a name of its own comes first, and
# the steps, which take any word after a draft's, come last.
sending = (revisions, send_readings, send_pieces, send, send_last, send_photos, send_steps)
for part in (
    reading,
    things,
    following,
    version,
    compare,
    live,
    my_bench,
    moderating,
    *accounts,
    journal,
    *sending,
):
    router.include_router(part.router)
