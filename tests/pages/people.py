"""Somebody at a browser without scripts: signs up, reads letters, follows their links."""

import email
import email.policy
import re
import time
from email.message import EmailMessage
from pathlib import Path
from urllib.parse import urlsplit

from bs4 import BeautifulSoup
from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx import Response

from tests.pages.reading import parsed

PASSWORD = "ferrite drizzle mango atlas"


class Person:
    """A browser of one person. Forms are sent as the page has them, with what is typed over it."""

    def __init__(self, app: FastAPI, *, address: str = "http://ledger.test") -> None:
        self.client = TestClient(app, base_url=address, follow_redirects=True)
        self.letters = Path(app.state.settings.mail_folder)

    def open(self, path: str) -> BeautifulSoup:
        self.answer: Response = self.client.get(path)
        return parsed(self.answer.text)

    def send(self, action: str, *, nth: int = 0, **typed: str) -> BeautifulSoup:
        """Send the form of the page that was opened last, as its button would."""
        forms = [
            form
            for form in parsed(self.answer.text).select("form[method=post]")
            if form["action"] == action
        ]
        assert forms, f"no form to {action} on {self.answer.url}"
        form = forms[nth]
        fields = {
            str(one["name"]): str(one.get("value", ""))
            for one in form.select("input[name]")
            if one.get("type") != "checkbox" or one.has_attr("checked")
        }
        for choice in form.select("select[name]"):
            chosen = choice.select_one("option[selected]") or choice.select_one("option")
            assert chosen is not None
            fields[str(choice["name"])] = str(chosen["value"])
        unknown = (
            set(typed)
            - set(fields)
            - {str(one["name"]) for one in form.select("input[type=checkbox], textarea")}
        )
        assert not unknown, f"the form has no {unknown}"
        self.answer = self.client.post(action, data={**fields, **typed})
        return parsed(self.answer.text)

    def sign_up(self, name: str, address: str, password: str = PASSWORD) -> BeautifulSoup:
        self.open("/sign-up")
        return self.send("/sign-up", name=name, email=address, password=password)

    def confirm(self, address: str) -> BeautifulSoup:
        self.open(link_in(self.letter_to(address)))
        return self.send("/confirm")

    def sign_in(self, address: str, password: str = PASSWORD, *, to: str = "/") -> BeautifulSoup:
        self.open(f"/sign-in?next={to}")
        return self.send("/sign-in", email=address, password=password)

    def letters_to(self, address: str) -> list[EmailMessage]:
        return letters_in(self.letters, address)

    def letter_to(self, address: str) -> EmailMessage:
        """The last letter to an address."""
        return self.letters_to(address)[-1]


def letters_in(folder: Path, address: str) -> list[EmailMessage]:
    found = []
    for path in sorted(folder.glob("*.eml")):
        message = email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
        assert isinstance(message, EmailMessage)
        if message["To"] == address:
            found.append(message)
    return found


def newest_letter(folder: Path, address: str) -> EmailMessage:
    """The newest letter to an address; waits a moment, as letters leave after the answer."""
    for _ in range(100):
        if found := letters_in(folder, address):
            return found[-1]
        time.sleep(0.1)
    raise AssertionError(f"no letter went to {address}")


def words_of(letter: EmailMessage) -> str:
    return str(letter.get_content())


def link_in(letter: EmailMessage) -> str:
    """Path and query of the letter's first link."""
    found = re.search(r"https?://\S+", words_of(letter))
    assert found is not None
    parts = urlsplit(found.group())
    return f"{parts.path}?{parts.query}" if parts.query else parts.path
