"""The ways a letter goes: to the console, into a folder, to a mail server.

Called after the change was committed and answered, in a thread: a mail server that is slow or away
keeps nobody waiting. A letter that can't be sent is logged with its subject, not with its text,
and every page that sends one offers to send it again.
"""

import logging
import smtplib
import ssl
import sys
import uuid
from email.message import EmailMessage
from email.utils import formatdate, make_msgid

from server.mail.letters import Letter
from server.settings import Settings

_log = logging.getLogger("benchledger.mail")

TIMEOUT_S = 20.0


def post(settings: Settings, letter: Letter) -> bool:
    """Send a letter the way the settings say; whether it went."""
    try:
        if settings.mail == "smtp":
            _to_server(settings, letter)
        elif settings.mail == "folder":
            _to_folder(settings, letter)
        else:
            _to_console(letter)
    except (OSError, smtplib.SMTPException) as error:
        _log.error("a letter (%s) could not be sent: %s", letter.subject, error)
        return False
    return True


def as_message(settings: Settings, letter: Letter) -> EmailMessage:
    message = EmailMessage()
    message["From"] = settings.mail_from
    message["To"] = letter.to
    message["Subject"] = letter.subject
    message["Date"] = formatdate()
    message["Message-ID"] = make_msgid(domain=settings.mail_from.rpartition("@")[2].rstrip(">"))
    # Nobody's absence note answers a machine (RFC 3834, 5).
    message["Auto-Submitted"] = "auto-generated"
    message.set_content(letter.text)
    return message


def _to_console(letter: Letter) -> None:
    rule = "-" * 72
    sys.stderr.write(f"{rule}\nTo: {letter.to}\nSubject: {letter.subject}\n\n{letter.text}{rule}\n")
    sys.stderr.flush()


def _to_folder(settings: Settings, letter: Letter) -> None:
    assert settings.mail_folder is not None  # the settings are refused without it
    settings.mail_folder.mkdir(parents=True, exist_ok=True)
    made = settings.mail_folder / f".{uuid.uuid4().hex}"
    made.write_bytes(bytes(as_message(settings, letter)))
    n = len(list(settings.mail_folder.glob("*.eml")))
    made.rename(settings.mail_folder / f"{n:06d}-{made.name[1:9]}.eml")


def _to_server(settings: Settings, letter: Letter) -> None:
    assert settings.mail_host is not None  # likewise
    trust = ssl.create_default_context()
    port = settings.mail_port
    if settings.mail_security == "tls":
        server: smtplib.SMTP = smtplib.SMTP_SSL(
            settings.mail_host, port or 465, timeout=TIMEOUT_S, context=trust
        )
    else:
        server = smtplib.SMTP(settings.mail_host, port or 587, timeout=TIMEOUT_S)
    with server:
        if settings.mail_security == "starttls":
            server.starttls(context=trust)
        if settings.mail_user:
            server.login(settings.mail_user, settings.mail_password or "")
        server.send_message(as_message(settings, letter))
