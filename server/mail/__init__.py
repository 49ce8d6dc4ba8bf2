"""What leaves by e-mail: the letters, and the ways they go."""

from server.mail.letters import Letter
from server.mail.post import post

__all__ = ["Letter", "post"]
