"""A second factor (RFC 6238), and signing in with a provider of OpenID Connect that runs here: a real one, by another
hand."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from typing import Any
from urllib.parse import parse_qs, urlsplit

import httpx
import pyotp
import pytest

from handsfree.desk import factor, people
from handsfree.desk.configuration import Desk
from handsfree.desk.signon import SignOn
from handsfree.errors import Trouble
from tests.desk.browsing import ORIGIN, client, post, signed_in, token
from tests.desk.conftest import PASSWORD

#: The provider's own, of its own library.
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")
MAIL, OTHER = "vera@firm.example", "nobody@firm.example"


# ---- a second factor ----------------------------------------------------------------------------------------------------


def turned_on(desk: Desk, name: str = "Vera") -> tuple[Any, pyotp.TOTP]:
    browser = signed_in(desk, name)
    shown = post(browser, "/account/factor", token=token(browser), do="begin", old=PASSWORD).text
    assert "<svg" in shown
    found = re.search(r"<code>([A-Z2-7]{32})</code>", shown)
    assert found is not None
    codes = pyotp.TOTP(found[1])
    done = post(browser, "/account/factor", token=token(browser), do="confirm", code=codes.at(time.time() - 30))
    assert done.status_code == 303
    return browser, codes


def waiting(desk: Desk, name: str = "Vera") -> tuple[Any, str]:
    """A browser whose password was right, and what names its waiting sign-in."""
    browser = client(desk)
    answer = post(browser, "/sign-in", name=name, password=PASSWORD, to="/due")
    assert answer.status_code == 200
    assert "set-cookie" not in answer.headers, "no session before the code"
    found = re.search(r'name="pending" value="([^"]+)"', answer.text)
    assert found is not None
    return browser, found[1]


def test_a_code_is_asked_for_after_the_password_and_taken_once(desk: Desk) -> None:
    _, codes = turned_on(desk)
    browser, pending = waiting(desk)
    code = codes.now()
    assert browser.get("/").status_code == 303
    other = "000000" if code != "000000" else "000001"
    assert post(browser, "/sign-in/code", pending=pending, code=other).status_code == 401
    assert post(browser, "/sign-in/code", pending="x", code=code).status_code == 401
    came = post(browser, "/sign-in/code", pending=pending, code=f" {code[:3]} {code[3:]}", to="/due")
    assert (came.status_code, came.headers["location"]) == (303, "/due")
    assert browser.get("/").status_code == 200
    again, pending = waiting(desk)
    assert post(again, "/sign-in/code", pending=pending, code=code).status_code == 401, "seen over a shoulder"
    assert signed_in(desk, "Toni").get("/").status_code == 200, "who has none is asked for none"


def test_codes_are_not_guessed(desk: Desk) -> None:
    _, codes = turned_on(desk)
    browser, pending = waiting(desk)
    right = codes.now()
    wrong = [f"{n:06d}" for n in range(20) if f"{n:06d}" not in {codes.at(time.time() + d) for d in (-30, 0, 30)}]
    for code in wrong[: factor.TRIES]:
        assert post(browser, "/sign-in/code", pending=pending, code=code).status_code == 401
    answer = post(browser, "/sign-in/code", pending=pending, code=right)
    assert answer.status_code == 401
    assert "Sign in again" in answer.text
    late = factor.wait_for(desk.people, 1, time.time() - factor.WAIT - 1)
    with pytest.raises(Trouble):
        factor.judge(desk.people, late.token, right)


def test_a_code_is_of_this_half_minute_or_the_next_to_it(desk: Desk) -> None:
    """Against the codes of RFC 6238, appendix B (its secret in ASCII, the last six of its eight figures; from memory)."""
    from sqlalchemy import insert

    from handsfree.desk.people_tables import SecondFactor

    secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
    with desk.people.begin() as connection:
        connection.execute(insert(SecondFactor), [{"person_id": 1, "secret": secret, "confirmed": 1, "used": 0}])
    for at, code in ((59.0, "287082"), (1111111109.0, "081804"), (1111111111.0, "050471"), (1234567890.0, "005924")):
        for off, taken in ((-61.0, False), (61.0, False), (0.0, True)):
            pending = factor.wait_for(desk.people, 1, at + off)
            assert (factor.judge(desk.people, pending.token, code, at + off) == 1) is taken, (at, off)


def test_the_second_factor_wants_the_password_to_begin_and_to_end(desk: Desk) -> None:
    browser, _ = turned_on(desk)
    for do in ("begin", "remove"):
        assert post(browser, "/account/factor", token=token(browser), do=do, old="not it").status_code == 422
    assert factor.wanted(desk.people, 1)
    assert post(browser, "/account/factor", token=token(browser), do="remove", old=PASSWORD).status_code == 303
    assert signed_in(desk, "Vera").get("/").status_code == 200
    shown = post(browser, "/account/factor", token=token(browser), do="begin", old=PASSWORD)
    assert shown.status_code == 200
    assert post(browser, "/account/factor", token=token(browser), do="confirm", code="12").status_code == 422
    assert signed_in(desk, "Vera").get("/").status_code == 200, "not confirmed, it is not asked for"


def test_a_lost_telephone_is_no_end(desk: Desk) -> None:
    browser, _ = turned_on(desk)
    people.forget_codes(desk.people, "Vera")
    assert browser.get("/").status_code == 303
    assert signed_in(desk, "Vera").get("/").status_code == 200


# ---- a provider ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def provider() -> Iterator[str]:
    from oidc_provider_mock import User, run_server_in_thread

    users = (
        User(sub="p-77", claims={"email": "Vera@firm.example", "email_verified": True}),
        User(sub="p-78", claims={"email": OTHER, "email_verified": True}),
        User(sub="p-79", claims={"email": MAIL, "email_verified": False}),
        User(sub="p-80", claims={"email": MAIL, "email_verified": True}),
    )
    with run_server_in_thread(require_nonce=True, user_claims=users) as server:
        yield f"http://localhost:{server.server_port}"


@pytest.fixture
def open_desk(desk: Desk, provider: str) -> Desk:
    people.add(desk.people, "Vera elsewhere", "supervisor", "*", "", "", MAIL)
    desk.sign_on = SignOn(provider, "the-desk", "its secret", "the firm")
    return desk


def vouched(browser: Any, who: str, change: Any = lambda address: address) -> httpx.Response:
    """From the desk's link to the provider's page, there somebody says who they are, and back."""
    begun = browser.get("/elsewhere?to=/due")
    assert begun.status_code == 302
    asked = parse_qs(urlsplit(begun.headers["location"]).query)
    assert asked["code_challenge_method"] == ["S256"]
    assert asked["redirect_uri"] == [f"{ORIGIN}/elsewhere/back"]
    said = httpx.post(begun.headers["location"], data={"sub": who}, follow_redirects=False)
    assert said.status_code in (302, 303), said.text
    back = urlsplit(change(said.headers["location"]))
    answer: httpx.Response = browser.get(f"{back.path}?{back.query}")
    return answer


def test_signing_in_with_a_provider_binds_the_account_to_the_person_there(open_desk: Desk) -> None:
    assert "Sign in with the firm" in client(open_desk).get("/sign-in").text
    browser = client(open_desk)
    came = vouched(browser, "p-77")
    assert came.status_code == 200
    assert 'href="/due"' in came.text
    assert "Vera elsewhere" in browser.get("/").text
    assert vouched(client(open_desk), "p-80").status_code == 403, "the address alone is nobody's once it is bound"
    assert vouched(client(open_desk), "p-77").status_code == 200


@pytest.mark.parametrize("who", ["p-78", "p-79", "p-new"])
def test_who_has_no_account_or_no_verified_address_does_not_come_in(open_desk: Desk, who: str) -> None:
    browser = client(open_desk)
    assert vouched(browser, who).status_code == 403
    assert browser.get("/").status_code == 303


def test_an_answer_that_was_not_begun_here_opens_nothing(open_desk: Desk) -> None:
    browser, other = client(open_desk), client(open_desk)
    assert browser.get("/elsewhere/back?code=x&state=y").status_code == 403
    assert vouched(browser, "p-77", lambda address: re.sub(r"state=[^&]+", "state=other", address)).status_code == 403
    assert vouched(browser, "p-77", lambda address: re.sub(r"code=[^&]+", "code=other", address)).status_code == 403
    begun = browser.get("/elsewhere")
    said = httpx.post(begun.headers["location"], data={"sub": "p-77"}, follow_redirects=False)
    back = urlsplit(said.headers["location"])
    assert other.get(f"{back.path}?{back.query}").status_code == 403, "in another browser"
    assert browser.get(f"{back.path}?{back.query}").status_code == 200
    assert browser.get(f"{back.path}?{back.query}").status_code == 403, "twice"


def test_a_provider_that_is_away_or_none_is_told(desk: Desk) -> None:
    assert client(desk).get("/elsewhere").status_code == 404
    desk.sign_on = SignOn("http://127.0.0.1:9", "the-desk", "s", "the firm")
    answer = client(desk).get("/elsewhere")
    assert answer.status_code == 503
    assert "does not answer" in answer.text
    for issuer in ("http://provider.example", "provider", "ftp://localhost"):
        with pytest.raises(Trouble):
            SignOn(issuer, "c", "s")


def test_an_account_for_signing_in_elsewhere_has_no_password_to_guess(open_desk: Desk) -> None:
    for guess in ("", PASSWORD, "x" * 20):
        assert post(client(open_desk), "/sign-in", name="Vera elsewhere", password=guess).status_code == 401
    for mail in ("no address", MAIL.upper()):
        with pytest.raises(Trouble):
            people.add(open_desk.people, "Another", "writer", "", "", "", mail)
