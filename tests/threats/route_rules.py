"""Who gets through to what: one line per route, sorted; the matrix test asks for every cell.

A rule names whom the route lets in, for a thing of one's own and for another's; where the address
names no thing, "other's" counts. Let in means an answer that is no refusal: a form that lacks its
fields is told so, but its sender got through.

A new route needs a line here, in its place by path, then method. Pick one of the rules below, or
add one with `Rule(own=…, other=…)`. What the address names (`{run_id}`) is found in
`tests/threats/world.py` by the word before it; a word that is not known there gets an id of
nothing, for which "not found" counts as let in.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Rule:
    own: frozenset[str]
    other: frozenset[str]


# Somebody at the door, from least to most. "one factor": a maintainer who signed in without the
# second factor, or whose token has no scope of a maintainer.
DOORS = ("none", "visitor", "reader", "tester", "one factor", "maintainer", "administrator")
NOBODY: frozenset[str] = frozenset()


def from_(least: str) -> frozenset[str]:
    return frozenset(DOORS[DOORS.index(least) :])


OPEN = Rule(own=from_("none"), other=from_("none"))
TRYING = Rule(own=from_("visitor"), other=from_("visitor"))  # somebody with a place for drafts
# Only there where the settings name a provider to sign in with; the matrix's name none.
NOT_SET_UP = Rule(own=NOBODY, other=NOBODY)
SIGNED = Rule(own=from_("reader"), other=from_("reader"))
SENDING = Rule(own=from_("tester"), other=from_("tester"))
MAINTAINING = Rule(own=from_("maintainer"), other=from_("maintainer"))
ADMINISTERING = Rule(own=from_("administrator"), other=from_("administrator"))
OWN_DRAFT = Rule(own=from_("visitor"), other=NOBODY)
OWN_DRAFT_SENT = Rule(own=from_("tester"), other=NOBODY)
OWN_SIGNED = Rule(own=from_("reader"), other=NOBODY)
OWN_SENT = Rule(own=from_("tester"), other=NOBODY)
# A run that is not published: its sender and the maintainers.
OWN_OR_MAINTAINING = Rule(own=from_("tester"), other=from_("maintainer"))
MAINTAINING_NOT_OWN = Rule(own=NOBODY, other=from_("maintainer"))

RULES: dict[str, Rule] = {
    "GET /": OPEN,
    "GET /account": SIGNED,
    "GET /account/codes": SIGNED,
    "POST /account/codes": SIGNED,
    "POST /account/codes/confirm": SIGNED,
    "POST /account/codes/recovery": SIGNED,
    "POST /account/codes/remove": SIGNED,
    "GET /account/command": SIGNED,
    "POST /account/command/approve": SENDING,
    "POST /account/command/refuse": SENDING,
    "GET /account/data": SIGNED,
    "POST /account/data/delete": SIGNED,
    "POST /account/data/export": SIGNED,
    "GET /account/email": SIGNED,
    "POST /account/email": SIGNED,
    "GET /account/name": SIGNED,
    "POST /account/name": SIGNED,
    "POST /account/passkeys": SIGNED,
    "POST /account/passkeys/options": SIGNED,
    "POST /account/passkeys/{passkey_id}/remove": OWN_SIGNED,
    "GET /account/password": SIGNED,
    "POST /account/password": SIGNED,
    "GET /account/people": ADMINISTERING,
    "POST /account/people/{person_id}/role": ADMINISTERING,
    "POST /account/people/{person_id}/vouch": ADMINISTERING,
    "GET /account/second-factor": SIGNED,
    "POST /account/sign-ins/end-others": SIGNED,
    "POST /account/sign-ins/{sign_in_id}/end": OWN_SIGNED,
    "GET /account/tokens": SIGNED,
    "POST /account/tokens": SIGNED,
    "POST /account/tokens/{token_id}/end": OWN_SIGNED,
    "POST /answers/{answer_id}/look": MAINTAINING,
    "POST /answers/{answer_id}/remove": MAINTAINING,
    "GET /api-guide": OPEN,
    "GET /api/v1/appliances": OPEN,
    "POST /api/v1/appliances": SENDING,
    "GET /api/v1/appliances/{appliance_id}": OPEN,
    "GET /api/v1/appliances/{appliance_id}/claims": OPEN,
    "POST /api/v1/appliances/{appliance_id}/claims": SENDING,
    "GET /api/v1/appliances/{appliance_id}/plates": OPEN,
    "POST /api/v1/appliances/{appliance_id}/plates": SENDING,
    "GET /api/v1/appliances/{appliance_id}/pooled": OPEN,
    "GET /api/v1/appliances/{appliance_id}/runs": OPEN,
    "GET /api/v1/appliances/{appliance_id}/specimens": SIGNED,
    "POST /api/v1/appliances/{appliance_id}/specimens": SENDING,
    "GET /api/v1/claims": OPEN,
    "GET /api/v1/claims/{claim_id}": OPEN,
    "GET /api/v1/claims/{claim_id}/statements": OPEN,
    "POST /api/v1/claims/{claim_id}/statements": SENDING,
    "POST /api/v1/command-sign-ins": OPEN,
    "POST /api/v1/command-sign-ins/token": OPEN,
    "GET /api/v1/compare": OPEN,
    "POST /api/v1/concerns": OPEN,
    "GET /api/v1/concerns/{concern_id}": OPEN,
    "POST /api/v1/concerns/{concern_id}/settlement": MAINTAINING,
    "GET /api/v1/desk": MAINTAINING,
    "GET /api/v1/journal/heads": OPEN,
    "POST /api/v1/live": SENDING,
    "GET /api/v1/live/{address}": OPEN,
    "PUT /api/v1/live/{address}": OWN_SENT,
    "GET /api/v1/openapi.json": OPEN,
    "GET /api/v1/problems": OPEN,
    "GET /api/v1/problems/{word}": OPEN,
    "POST /api/v1/requests": OPEN,
    "GET /api/v1/rigs": SIGNED,
    "POST /api/v1/rigs": SENDING,
    "GET /api/v1/rigs/{rig_id}": OPEN,
    "GET /api/v1/rigs/{rig_id}/revisions": OPEN,
    "POST /api/v1/rigs/{rig_id}/revisions": OWN_SENT,
    "GET /api/v1/runs": OPEN,
    "POST /api/v1/runs": SENDING,
    "GET /api/v1/runs/{run_id}": OWN_OR_MAINTAINING,
    "GET /api/v1/runs/{run_id}/case": MAINTAINING,
    "POST /api/v1/runs/{run_id}/contests": OWN_SENT,
    "GET /api/v1/runs/{run_id}/curves": OWN_OR_MAINTAINING,
    "GET /api/v1/runs/{run_id}/file": OWN_OR_MAINTAINING,
    "GET /api/v1/runs/{run_id}/findings": OWN_OR_MAINTAINING,
    "GET /api/v1/runs/{run_id}/metrics": OWN_OR_MAINTAINING,
    "POST /api/v1/runs/{run_id}/moves": MAINTAINING_NOT_OWN,
    "GET /api/v1/runs/{run_id}/points": OWN_OR_MAINTAINING,
    "GET /api/v1/runs/{run_id}/revisions": OWN_OR_MAINTAINING,
    "GET /api/v1/runs/{run_id}/revisions/{number}": OWN_OR_MAINTAINING,
    "GET /api/v1/runs/{run_id}/status": OWN_OR_MAINTAINING,
    "GET /api/v1/runs/{run_id}/trace": OWN_OR_MAINTAINING,
    "GET /api/v1/runs/{run_id}/versions": OWN_OR_MAINTAINING,
    "GET /api/v1/runs/{run_id}/versions/{number}": OWN_OR_MAINTAINING,
    "POST /api/v1/runs/{run_id}/withdrawal": OWN_OR_MAINTAINING,
    "GET /api/v1/specimens/{specimen_id}": OPEN,
    "POST /api/v1/statements/{statement_id}/removal": MAINTAINING,
    "GET /api/v1/testers/me": SIGNED,
    "GET /api/v1/testers/me/bench": SIGNED,
    "POST /api/v1/testers/me/consent": SENDING,
    "GET /api/v1/tokens": SIGNED,
    "DELETE /api/v1/tokens/{token_id}": OWN_SIGNED,
    "GET /api/v1/uploads": SENDING,
    "POST /api/v1/uploads": SENDING,
    "DELETE /api/v1/uploads/{upload_id}": OWN_SENT,
    "GET /api/v1/uploads/{upload_id}": OWN_SENT,
    "PATCH /api/v1/uploads/{upload_id}": OWN_SENT,
    "GET /appliances": OPEN,
    "GET /appliances/{address}": OPEN,
    "GET /claims/{claim_id}": OPEN,
    "POST /claims/{claim_id}/answers": SENDING,
    "POST /claims/{claim_id}/speak": SENDING,
    "GET /confirm": OPEN,
    "POST /confirm": OPEN,
    "GET /data-licence": OPEN,
    "GET /desk": MAINTAINING,
    "GET /desk/appliances/{appliance_id}/plate": MAINTAINING,
    "POST /desk/appliances/{appliance_id}/plate": MAINTAINING,
    "GET /desk/concerns/{public_id}": MAINTAINING,
    "POST /desk/concerns/{public_id}/give-back": MAINTAINING,
    "POST /desk/concerns/{public_id}/settle": MAINTAINING,
    "POST /desk/concerns/{public_id}/take": MAINTAINING,
    "GET /desk/makers": MAINTAINING,
    "POST /desk/makers": MAINTAINING,
    "GET /desk/merge": MAINTAINING,
    "POST /desk/merge": MAINTAINING,
    "GET /desk/next": MAINTAINING,
    "GET /desk/practice": MAINTAINING,
    "GET /desk/practice/{case_word}": MAINTAINING,
    "GET /desk/runs/{public_id}": MAINTAINING,
    "POST /desk/runs/{public_id}/give-back": MAINTAINING_NOT_OWN,
    "POST /desk/runs/{public_id}/look": MAINTAINING_NOT_OWN,
    "POST /desk/runs/{public_id}/publish": MAINTAINING_NOT_OWN,
    "POST /desk/runs/{public_id}/retry": MAINTAINING_NOT_OWN,
    "POST /desk/runs/{public_id}/return": MAINTAINING_NOT_OWN,
    "POST /desk/runs/{public_id}/take": MAINTAINING_NOT_OWN,
    "POST /desk/runs/{public_id}/withdraw": MAINTAINING_NOT_OWN,
    "GET /desk/together": MAINTAINING,
    "POST /desk/together": MAINTAINING,
    "GET /healthz": OPEN,
    "GET /journal": OPEN,
    "GET /journal/head": OPEN,
    "GET /journal/key": OPEN,
    "GET /live/{address}": OPEN,
    "GET /live/{address}/now": OPEN,
    "GET /methods": OPEN,
    "GET /methods/{name}": OPEN,
    "GET /my-bench": SIGNED,
    "POST /my-bench/calibrations": SIGNED,
    "GET /my-runs": SIGNED,
    "GET /notice": OPEN,
    "POST /notice": OPEN,
    "GET /photos/{photo_id}": OWN_DRAFT,
    "GET /privacy": OPEN,
    "GET /prove": SIGNED,
    "POST /prove": SIGNED,
    "POST /prove/passkey": SIGNED,
    "GET /report": OPEN,
    "POST /report": OPEN,
    "GET /reports/{public_id}": OPEN,
    "GET /request": OPEN,
    "POST /request": OPEN,
    "GET /reset": OPEN,
    "POST /reset": OPEN,
    "GET /reset/password": OPEN,
    "POST /reset/password": OPEN,
    "GET /runs/{public_id}": OWN_OR_MAINTAINING,
    "POST /runs/{public_id}/contest": OWN_SENT,
    "POST /runs/{public_id}/correct": OWN_SENT,
    "GET /runs/{public_id}/figures/{name}": OWN_OR_MAINTAINING,
    "GET /runs/{public_id}/file": OWN_OR_MAINTAINING,
    "GET /runs/{public_id}/revisions/{number}": OWN_OR_MAINTAINING,
    "GET /runs/{public_id}/versions/{number}": OWN_OR_MAINTAINING,
    "POST /runs/{public_id}/withdraw": OWN_OR_MAINTAINING,
    "GET /safety": OPEN,
    "GET /send": OPEN,
    "POST /send": OPEN,
    "POST /send/pieces": OPEN,
    "GET /send/pieces/{upload_id}": OWN_DRAFT,
    "PATCH /send/pieces/{upload_id}": OWN_DRAFT,
    "GET /send/readings": OPEN,
    "POST /send/readings": OPEN,
    "GET /send/{draft_id}": OPEN,
    "GET /send/{draft_id}/appliance": OWN_DRAFT,
    "GET /send/{draft_id}/columns": OWN_DRAFT,
    "POST /send/{draft_id}/columns": OWN_DRAFT,
    "POST /send/{draft_id}/discard": OWN_DRAFT,
    "GET /send/{draft_id}/figures": OWN_DRAFT,
    "POST /send/{draft_id}/photos": OWN_DRAFT,
    "POST /send/{draft_id}/photos/{photo_id}": OWN_DRAFT,
    "GET /send/{draft_id}/rig": OWN_DRAFT,
    "POST /send/{draft_id}/send": OWN_DRAFT_SENT,
    "POST /send/{draft_id}/{step}": OWN_DRAFT,
    "GET /side-by-side": OPEN,
    "GET /sign-in": OPEN,
    "POST /sign-in": OPEN,
    "POST /sign-in/passkey": OPEN,
    "POST /sign-in/passkey/options": OPEN,
    "GET /sign-in/provider": NOT_SET_UP,
    "GET /sign-in/provider/back": NOT_SET_UP,
    "POST /sign-in/second": OPEN,
    "POST /sign-out": TRYING,
    "GET /sign-up": OPEN,
    "POST /sign-up": OPEN,
    "POST /sign-up/again": TRYING,
    "GET /sign-up/letter": OPEN,
    "GET /speak-for": OPEN,
    "POST /speak-for": SENDING,
}

# What a form or JSON body needs so that a check behind its reading is reached, where there is one.
FORMS: dict[str, dict[str, str]] = {
    "POST /desk/runs/{public_id}/look": {"version": "1"},
    "POST /desk/runs/{public_id}/publish": {"version": "1"},
    "POST /desk/runs/{public_id}/retry": {"version": "1"},
    "POST /desk/runs/{public_id}/return": {"version": "1", "reason": "The belt slipped."},
    "POST /desk/runs/{public_id}/withdraw": {"version": "1", "reason": "The belt slipped."},
    "POST /api/v1/runs/{run_id}/contests": {"text": "The meter was checked twice."},
    "POST /api/v1/runs/{run_id}/moves": {"to": "published", "version": "1"},
    "POST /api/v1/runs/{run_id}/withdrawal": {"reason": "The belt slipped."},
}
