"""Somebody signs up on a phone, adds a passkey, and signs in with it: with a virtual device."""

from collections.abc import Callable
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Ledger
from tests.browser.test_pages import axe_faults
from tests.pages.people import PASSWORD, link_in, newest_letter

pytestmark = pytest.mark.browser


def with_device(page: Page) -> None:
    """An authenticator of the device that its owner unlocks each time."""
    browser = page.context.new_cdp_session(page)
    browser.send("WebAuthn.enable")
    browser.send(
        "WebAuthn.addVirtualAuthenticator",
        {
            "options": {
                "protocol": "ctap2",
                "transport": "internal",
                "hasResidentKey": True,
                "hasUserVerification": True,
                "isUserVerified": True,
                "automaticPresenceSimulation": True,
            }
        },
    )


def checked(page: Page) -> None:
    assert axe_faults(page) == [], page.url
    wide = page.evaluate("document.documentElement.scrollWidth > innerWidth")
    assert not wide, f"{page.url} is wider than the window"


@pytest.mark.parametrize("width", [390, 1280])
def test_from_signing_up_to_signing_in_with_a_passkey(
    open_page: Callable[..., Page], ledger: Ledger, width: int
) -> None:
    address = f"cy{width}@bench.example"
    # Passkeys belong to a host name: an address of numbers has none.
    local = f"http://localhost:{urlsplit(ledger.address).port}"
    page = open_page(f"{local}/sign-up", width=width)
    with_device(page)
    checked(page)
    page.get_by_label("Name").fill("Cy Tarn")
    page.get_by_label("E-mail address").fill(address)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign up").click()
    expect(page.locator("main h1")).to_have_text("Look into your mailbox")
    checked(page)
    page.goto(f"{local}{link_in(newest_letter(ledger.letters, address))}")
    checked(page)
    page.get_by_role("button", name="Confirm this address").click()
    expect(page.locator("main h1")).to_have_text("Your account")
    checked(page)

    page.goto(f"{local}/account/second-factor")
    checked(page)
    expect(page.locator("[data-passkey-says]")).to_have_text("")
    page.get_by_label("Name of the passkey").fill("This phone")
    page.get_by_role("button", name="Add a passkey").click()
    expect(page.get_by_role("status")).to_contain_text(["The passkey was added."])
    expect(page.get_by_role("button", name="Remove “This phone”")).to_be_visible()
    page.get_by_role("button", name="Sign out").click()
    expect(page.locator("footer")).to_contain_text("Sign in")

    page.goto(f"{local}/sign-in?next=/account/tokens")
    checked(page)
    expect(page.locator("[data-passkey-says]")).to_have_text("")
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.locator("main h1")).to_have_text("Tokens for programs")
    checked(page)

    # The password alone is not enough from now on.
    page.get_by_role("button", name="Sign out").click()
    page.goto(f"{local}/sign-in?next=/account")
    page.get_by_label("E-mail address").fill(address)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.locator("main h1")).to_have_text("One more step")
    checked(page)
    expect(page.locator("[data-passkey-says]")).to_have_text("")
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.locator("main h1")).to_have_text("Your account")


def test_the_picture_of_a_secret_can_be_read_and_nothing_is_cut_off(
    open_page: Callable[..., Page], ledger: Ledger
) -> None:
    page = open_page("/sign-up", width=390, is_dark=True)
    page.get_by_label("Name").fill("Di Vane")
    page.get_by_label("E-mail address").fill("di@bench.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign up").click()
    page.goto(f"{ledger.address}/account/second-factor")
    page.get_by_role("button", name="Set up codes").click()
    expect(page.locator("main h1")).to_have_text("Set up codes")
    box = page.locator(".code-picture svg").bounding_box()
    assert box is not None
    assert box["width"] > 180
    assert box["width"] == pytest.approx(box["height"], rel=0.02)
    checked(page)
    page.goto(f"{ledger.address}/account/data")
    checked(page)
