"""Security keys (WebAuthn) as a second factor, with Chromium's own virtual authenticator; and roles that must have one."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pyotp
import pytest
from axe_playwright_python.sync_playwright import Axe
from sqlalchemy import update

from handsfree.desk import factor, keyfobs, people
from handsfree.desk.configuration import Desk
from handsfree.desk.people_tables import KeyChallenge, SecurityKey
from handsfree.errors import Trouble
from tests.desk.browsing import client, post, signed_in, token
from tests.desk.conftest import PASSWORD
from tests.desk.serving import served
from tests.desk.test_browser import CHROMIUM, _faults, browser
from tests.desk.test_sign_on import turned_on

__all__ = ["browser"]
real = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed: apt-get install chromium")


@dataclass
class Bench:
    """A tab at the desk, by its name, with a key in it."""

    tab: Any
    address: str
    desk: Desk
    line: Any
    key: str

    def come(self, name: str = "Vera") -> None:
        self.tab.context.clear_cookies()
        self.tab.goto(f"{self.address}/sign-in")
        self.tab.fill("input[name=name]", name)
        self.tab.fill("input[name=password]", PASSWORD)
        self.tab.click("main button")

    def press(self, words: str) -> None:
        """Once the page's own script is there: on a busy machine a button is, before it."""
        self.tab.wait_for_selector(f"text={words}")
        self.tab.wait_for_load_state()
        self.tab.click(f"text={words}")

    def add(self, name: str = "blue key") -> None:
        self.tab.goto(f"{self.address}/account")
        form = self.tab.locator("form", has_text="Add a security key")
        form.locator("input[name=name]").fill(name)
        form.locator("input[name=old]").fill(PASSWORD)
        form.locator("button").click()
        self.press("The key is in")
        self.tab.wait_for_url("**/account?**")


@pytest.fixture
def bench(browser: Any, desk: Desk) -> Iterator[Bench]:
    with served(desk) as address:
        address = address.replace("127.0.0.1", "localhost")
        desk.origins = (address,)
        context = browser.new_context()
        tab = context.new_page()
        line = context.new_cdp_session(tab)
        line.send("WebAuthn.enable")
        options = {"protocol": "ctap2", "transport": "usb", "hasResidentKey": False, "hasUserVerification": False,
                   "isUserVerified": False, "automaticPresenceSimulation": True}  # fmt: skip
        made = line.send("WebAuthn.addVirtualAuthenticator", {"options": options})
        yield Bench(tab, address, desk, line, made["authenticatorId"])
        context.close()


@real
def test_a_key_is_made_known_and_asked_for_after_the_password(bench: Bench) -> None:
    tab = bench.tab
    bench.come()
    bench.add()
    assert "The security key is added" in tab.inner_text("main")
    assert "blue key" in tab.inner_text("main")
    bench.come()
    assert tab.inner_text("h1") == "Your security key"
    assert not [c for c in tab.context.cookies() if c["name"] == "desk"], "no session before the key"
    assert _faults(Axe(), tab, "a key is asked for") == []
    tab.keyboard.press("Enter")  # the button has the focus
    tab.wait_for_url(f"{bench.address}/")
    (vera,) = [one.id for one in people.everybody(bench.desk.people) if one.name == "Vera"]
    assert [name for _, name, _ in keyfobs.keys_of(bench.desk.people, vera)] == ["blue key"]
    tab.goto(f"{bench.address}/account")
    assert _faults(Axe(), tab, "the account with a key") == []


@real
def test_another_key_a_copied_one_and_a_key_that_was_taken_away_do_not_open(bench: Bench) -> None:
    tab, desk = bench.tab, bench.desk
    bench.come()
    bench.add()
    with desk.people.begin() as connection:  # as if a copy had been used far oftener
        connection.execute(update(SecurityKey).values(used=10_000))
    bench.come()
    bench.press("Use a security key")
    tab.wait_for_selector("text=That is not one of your keys")
    with desk.people.begin() as connection:
        connection.execute(update(SecurityKey).values(used=0))
    bench.press("Use a security key")
    tab.wait_for_url(f"{bench.address}/")
    bench.line.send("WebAuthn.clearCredentials", {"authenticatorId": bench.key})
    bench.come()
    bench.press("Use a security key")
    tab.wait_for_selector("text=No key answered")
    people.forget_codes(desk.people, "Vera")
    bench.come()
    tab.wait_for_url(f"{bench.address}/")


@real
def test_an_answer_counts_once_for_its_own_sign_in_at_its_own_address(bench: Bench) -> None:
    tab, desk = bench.tab, bench.desk
    bench.come()
    bench.add()
    (vera,) = [one.id for one in people.everybody(desk.people) if one.name == "Vera"]
    sent: list[str] = []
    tab.on("request", lambda request: sent.append(request.post_data or "") if request.url.endswith("/code") else None)
    bench.come()
    bench.press("Use a security key")
    tab.wait_for_url(f"{bench.address}/")
    from urllib.parse import parse_qs

    (given,) = [parse_qs(body) for body in sent if "answer" in body]
    answer, host, origins = given["answer"][0], bench.address.removeprefix("http://"), desk.origins
    waits = factor.wait_for(desk.people, vera)
    keyfobs.challenge(desk.people, vera, waits.token, host)
    assert factor.judge_key(desk.people, waits.token, answer, host, origins) is None, "the answer to another challenge"
    with pytest.raises(Trouble):
        factor.waits(desk.people, given["pending"][0])
    with desk.people.connect() as connection:
        assert connection.execute(KeyChallenge.__table__.select()).all() == [], "each is taken once"


def test_nothing_that_a_browser_may_send_is_a_key(desk: Desk) -> None:
    vera = signed_in(desk, "Vera")
    inner = {"clientDataJSON": "AA", "attestationObject": "oA"}
    like_one = json.dumps({"id": "AA", "rawId": "AA", "type": "public-key", "response": inner})
    for answer in ("", "{}", "[]", "null", '{"id": 1}', '{"response": {}}', "x" * 5000, like_one):
        assert post(vera, "/account/factor", token=token(vera), do="key", old=PASSWORD, name="k").status_code == 200
        made = post(vera, "/account/factor", token=token(vera), do="put key", name="k", answer=answer)
        assert (made.status_code, "Nothing was changed" in made.text) == (422, True)
    assert post(vera, "/account/factor", token=token(vera), do="put key", name="k", answer="{}").status_code == 422
    assert post(vera, "/account/factor", token=token(vera), do="key", old="wrong", name="k").status_code == 422
    (person,) = [one.id for one in people.everybody(desk.people) if one.name == "Vera"]
    assert not factor.there(desk.people, person)


@pytest.mark.parametrize(
    ("host", "name"),
    [("desk.example:8642", "desk.example"), ("localhost:1", "localhost"), ("127.0.0.1:1", ""), ("[::1]:1", "")],
)
def test_a_key_is_bound_to_a_name(host: str, name: str) -> None:
    assert keyfobs.name_of(host) == name


def test_a_role_that_must_have_a_second_factor_opens_nothing_without(desk: Desk) -> None:
    desk.two_factors = frozenset({"supervisor"})
    vera, anna = signed_in(desk, "Vera"), signed_in(desk, "Anna")
    assert anna.get("/").status_code == 200, "another role"
    for address in ("/", "/visits", "/findings", "/measures", "/visits.csv", "/visits/x/file/1"):
        answer = vera.get(address)
        assert (answer.status_code, answer.headers["location"].partition("?")[0]) == (303, "/account"), address
    assert "needs a second factor" in vera.get(vera.get("/visits").headers["location"]).text
    assert post(vera, "/refresh", token=token(vera)).status_code == 403
    browser, codes = turned_on(desk)
    assert browser.get("/visits").status_code == 200
    refused = post(browser, "/account/factor", token=token(browser), do="remove", old=PASSWORD)
    assert (refused.status_code, "Add another first" in refused.text) == (422, True)
    assert isinstance(codes, pyotp.TOTP)
    people.forget_codes(desk.people, "Vera")
    assert signed_in(desk, "Vera").get("/visits").status_code == 303


def test_who_signs_in_elsewhere_is_the_providers_affair(desk: Desk) -> None:
    people.add(desk.people, "Elsa", "supervisor", "*", "", "", "elsa@firm.example")
    (elsa,) = [one for one in people.everybody(desk.people) if one.name == "Elsa"]
    assert not people.lacks_factor(desk.people, elsa, frozenset({"supervisor"}))
    browser = client(desk)
    desk.two_factors = frozenset({"supervisor"})
    browser.cookies.set("desk", people.begin_session(desk.people, elsa.id, time.time()), domain="desk.test")
    assert browser.get("/visits").status_code == 200
