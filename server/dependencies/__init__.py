"""What endpoints ask for: a session behind its slot, who asks, an upload that has arrived."""

from server.dependencies.people import (
    Administrator,
    Drafter,
    Maintainer,
    Proved,
    Signed,
    Viewer,
    Writer,
)
from server.dependencies.resources import resources_of
from server.dependencies.sessions import ReadSession, WriteSession
from server.dependencies.submissions import PreparedSubmission, SubmitSession
from server.dependencies.uploads import Arrived, ArrivedFile, receive_upload

__all__ = [
    "Administrator",
    "Drafter",
    "Maintainer",
    "Arrived",
    "ArrivedFile",
    "PreparedSubmission",
    "Proved",
    "ReadSession",
    "Signed",
    "SubmitSession",
    "Viewer",
    "WriteSession",
    "Writer",
    "receive_upload",
    "resources_of",
]
