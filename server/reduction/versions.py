"""Which method made a figure; see `server/model/methods.py`, where it is written down."""

from server.model.methods import METHOD_VERSIONS

__all__ = ["METHOD_VERSIONS"]
