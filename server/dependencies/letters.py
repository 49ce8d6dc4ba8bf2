"""Letters leave after the change was committed and answered."""

from fastapi import Request, Response
from starlette.background import BackgroundTasks

from server.mail import Letter, post
from server.settings import Settings


def send_after(request: Request, response: Response, letter: Letter) -> None:
    """Send a letter once the answer has left. A write session has committed by then."""
    settings: Settings = request.app.state.settings
    tasks = response.background
    if not isinstance(tasks, BackgroundTasks):
        tasks = BackgroundTasks([tasks] if tasks is not None else None)
        response.background = tasks
    tasks.add_task(post, settings, letter)


def site_origin(request: Request) -> str:
    """Where links in letters lead. To a mail server only the settings' own address goes."""
    settings: Settings = request.app.state.settings
    return (settings.public_url or str(request.base_url)).rstrip("/")
