"""A client of the desk as a browser would be one: a cookie jar, the Origin of its own pages, form tokens."""

from __future__ import annotations

import re
from urllib.parse import urlencode

import httpx
from starlette.testclient import TestClient

from handsfree.desk.app import build
from handsfree.desk.configuration import Desk
from tests.desk.conftest import PASSWORD

ORIGIN = "http://desk.test"
FORM = {"content-type": "application/x-www-form-urlencoded", "origin": ORIGIN}


def client(desk: Desk) -> TestClient:
    return TestClient(build(desk, read_every=None), base_url=ORIGIN, follow_redirects=False)


def post(browser: TestClient, address: str, /, **fields: str) -> httpx.Response:
    return browser.post(address, content=urlencode(fields), headers=FORM)


def signed_in(desk: Desk, name: str) -> TestClient:
    browser = client(desk)
    answer = post(browser, "/sign-in", name=name, password=PASSWORD, to="/")
    assert answer.status_code == 303, answer.text
    return browser


def token(browser: TestClient) -> str:
    found = re.search(r'name="token" value="([0-9a-f]{64})"', browser.get("/account").text)
    assert found is not None
    return found[1]
