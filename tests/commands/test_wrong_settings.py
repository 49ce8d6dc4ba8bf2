"""A setting that can't be used is named, with its value, before anything starts."""

import pytest

from tests.commands.serving import command


@pytest.mark.parametrize(
    ("name", "value", "told"),
    [
        ("BENCHLEDGER_PORT", "abc", "BENCHLEDGER_PORT: “abc”: "),
        ("BENCHLEDGER_PORT", "99999", "65535"),
        ("BENCHLEDGER_LIMIT_READ_BY_ADDRESS", "lots", "10/hour"),
        ("BENCHLEDGER_MAIL", "pigeon", "'console', 'folder' or 'smtp'"),
        ("BENCHLEDGER_MAIL", "smtp", "BENCHLEDGER_MAIL_HOST, BENCHLEDGER_PUBLIC_URL"),
    ],
)
def test_a_setting_that_cannot_be_used_is_one_line(name: str, value: str, told: str) -> None:
    done = command("serve", environment={name: value})
    assert done.returncode == 2
    assert told in done.stderr
    assert done.stderr.count("\n") == 1, done.stderr


def test_a_port_of_the_command_line_is_checked_likewise() -> None:
    done = command("serve", "--port", 99999, environment={})
    assert done.returncode == 2
    assert done.stderr.startswith("BENCHLEDGER_PORT: “99999”: ")
