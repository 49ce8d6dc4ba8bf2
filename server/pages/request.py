"""What the templates need to know of a request."""

from fastapi import Request

from server.model.views import Tester
from server.pages.templating import Site, nav_for
from server.settings import Settings
from server.sign_in import csrf_token


def site_of(request: Request, viewer: Tester | None = None, *, is_unsure: bool = False) -> Site:
    settings: Settings = request.app.state.settings
    origin = settings.public_url or str(request.base_url)
    return Site(
        origin=origin.rstrip("/"),
        nonce=getattr(request.state, "csp_nonce", ""),
        tester_name=viewer.name if viewer is not None and not viewer.is_visitor else None,
        csrf_token=csrf_token(request),
        nav=nav_for(viewer),
        is_unsure=is_unsure,
    )
