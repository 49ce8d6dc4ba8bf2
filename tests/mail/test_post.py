"""The ways a letter goes: to the console, into a folder, to a mail server, to one that is away."""

import email
import email.policy
import socket
import threading
from pathlib import Path

import pytest

from server.mail import Letter, letters, post
from server.settings import Settings

LETTER = letters.confirm_email(
    origin="https://ledger.example", to="ada@bench.example", secret="s3cret", hours=24
)


class MailServer(threading.Thread):
    """Enough of RFC 5321 for one letter; `said` is all that was said to it."""

    def __init__(self, refuses: str = "") -> None:
        super().__init__(daemon=True)
        self.refuses = refuses
        self.said: list[str] = []
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]

    def run(self) -> None:
        with self.listener:
            connection, _ = self.listener.accept()
        with connection, connection.makefile("rw", newline="") as both:
            both.write("220 mail.test\r\n")
            both.flush()
            in_letter = False
            for line in both:
                self.said.append(line.rstrip("\r\n"))
                if in_letter:
                    in_letter = self.said[-1] != "."
                    if in_letter:
                        continue
                word = line[:4].upper()
                answer = {"DATA": "354 go on", "QUIT": "221 bye"}.get(word, "250 fine")
                in_letter = word == "DATA"
                if word == self.refuses:
                    answer = "550 no"
                both.write(f"{answer}\r\n")
                both.flush()
                if word == "QUIT":
                    return


def through(server: MailServer, tmp_path: Path) -> Settings:
    return Settings(
        data=tmp_path,
        mail="smtp",
        mail_host="127.0.0.1",
        mail_port=server.port,
        mail_security="none",
        mail_from="Benchledger <ledger@bench.example>",
        public_url="https://ledger.example",
    )


def test_a_mail_server_gets_the_letter(tmp_path: Path) -> None:
    server = MailServer()
    server.start()
    assert post(through(server, tmp_path), LETTER)
    server.join(timeout=20)
    said = "\n".join(server.said)
    assert "mail FROM:<ledger@bench.example>" in said
    assert "rcpt TO:<ada@bench.example>" in said
    assert "https://ledger.example/confirm?secret=s3cret" in said


def test_a_refused_letter_is_logged_without_its_text(tmp_path: Path, caplog) -> None:
    server = MailServer(refuses="RCPT")
    server.start()
    assert not post(through(server, tmp_path), LETTER)
    assert "could not be sent" in caplog.text
    assert "s3cret" not in caplog.text


def test_a_server_that_is_away_breaks_nothing(tmp_path: Path, caplog) -> None:
    server = MailServer()
    server.listener.close()
    assert not post(through(server, tmp_path), LETTER)
    assert "could not be sent" in caplog.text


def test_into_a_folder_one_file_a_letter_in_order(tmp_path: Path) -> None:
    settings = Settings(data=tmp_path, mail="folder", mail_folder=tmp_path / "letters")
    for n in range(3):
        assert post(settings, Letter("ada@bench.example", f"No. {n} · ü", "text\n"))
    found = sorted((tmp_path / "letters").iterdir())
    subjects = [
        email.message_from_bytes(path.read_bytes(), policy=email.policy.default)["Subject"]
        for path in found
    ]
    assert subjects == ["No. 0 · ü", "No. 1 · ü", "No. 2 · ü"]


def test_to_the_console_as_it_comes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert post(Settings(data=tmp_path), LETTER)
    told = capsys.readouterr().err
    assert "To: ada@bench.example" in told
    assert "https://ledger.example/confirm?secret=s3cret" in told


@pytest.mark.parametrize(
    ("named", "missing"),
    [
        ({"mail": "smtp"}, "BENCHLEDGER_MAIL_HOST, BENCHLEDGER_PUBLIC_URL"),
        ({"mail": "smtp", "mail_host": "mail.test"}, "BENCHLEDGER_PUBLIC_URL"),
        ({"mail": "folder"}, "BENCHLEDGER_MAIL_FOLDER"),
    ],
)
def test_settings_that_go_together_are_asked_for(named, missing: str) -> None:
    with pytest.raises(ValueError, match=missing):
        Settings(**named)


def test_a_password_of_the_mail_server_is_not_shown() -> None:
    settings = Settings(mail_password="very secret", oidc_client_secret="very secret")
    assert "very secret" not in repr(settings)
