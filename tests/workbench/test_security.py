"""What is turned away; who may do what stands in test_roles.py."""

import pytest
from fastapi.testclient import TestClient

from halfsplit.workbench.accounts import new_owner_link
from halfsplit.workbench.app import create_app
from halfsplit.workbench.run import is_loopback

PASSWORD = "a long enough one"


def test_a_forged_request_changes_nothing(signed_in, store, job):
    client = signed_in("owner")
    del client.headers["X-CSRF-Token"]
    before = store.job("lamp").last_change
    assert client.post("/jobs/lamp/complaints", data={"works-H1": "no"}).status_code == 403
    assert client.post("/jobs/lamp/complaints", data={"works-H1": "no", "csrf": "guess"}).status_code == 403
    assert store.job("lamp").last_change == before


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.test"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": "null"},
    ],
)
def test_another_site_cannot_post(client, store, job, headers):
    before = store.job("lamp").last_change
    assert client.post("/jobs/lamp/complaints", data={"works-H1": "no"}, headers=headers).status_code == 403
    assert store.job("lamp").last_change == before


def test_a_name_of_another_site_is_not_answered(client):
    assert client.get("/jobs", headers={"Host": "evil.test"}).status_code == 421


def test_passwords_are_throttled(signed_in, store):
    signed_in("owner")
    client = TestClient(create_app(store, accounts=True, hosts=None), base_url="http://shop.test")
    codes = [
        client.post("/sign-in", data={"name": "owner", "password": "wrong"}).status_code for _ in range(7)
    ]
    assert codes == [401] * 5 + [429] * 2
    assert client.post("/sign-in", data={"name": "owner", "password": PASSWORD}).status_code == 429


def test_the_first_owner_comes_by_a_link_that_works_once(store):
    client = TestClient(
        create_app(store, accounts=True, hosts=None), base_url="http://shop.test", follow_redirects=False
    )
    path = new_owner_link(store, "http://shop.test").removeprefix("http://shop.test")
    assert client.post(path, data={"name": "Ada", "password": "short"}).status_code == 422
    assert client.post(path, data={"name": "Ada", "password": PASSWORD}).status_code == 303
    assert client.get(path).status_code == 404
    cookie = client.post("/sign-in", data={"name": "Ada", "password": PASSWORD}).headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/jobs/lamp/files/..%2f..%2fjobs.db",
        "/static//etc/passwd",
    ],
)
def test_no_path_leads_outside(client, job, path):
    assert client.get(path).status_code in {400, 404}


def test_a_body_that_is_too_large_is_turned_away(client, job):
    answer = client.post("/jobs/lamp/photos", content=b"", headers={"Content-Length": "99999999999"})
    assert answer.status_code == 413


def test_only_loopback_goes_without_accounts():
    assert [
        host
        for host in ("127.0.0.1", "::1", "localhost", "0.0.0.0", "192.0.2.7", "workshop.test")
        if is_loopback(host)
    ] == ["127.0.0.1", "::1", "localhost"]
