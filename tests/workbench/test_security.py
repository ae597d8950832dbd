"""What is turned away; who may do what stands in test_roles.py."""

import asyncio
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from starlette.exceptions import HTTPException

from halfsplit.errors import InputError
from halfsplit.workbench import accounts, guard
from halfsplit.workbench.accounts import _HASHER, new_owner_link
from halfsplit.workbench.app import create_app
from halfsplit.workbench.run import Serving, is_loopback

PASSWORD = "a long enough one"


def test_a_forged_request_changes_nothing(signed_in, store, job):
    client = signed_in("owner")
    del client.headers["X-CSRF-Token"]
    before = store.job("lamp").last_change
    assert client.post("/jobs/lamp/evidence", data={"kind": "note", "text": "x"}).status_code == 403
    assert (
        client.post("/jobs/lamp/evidence", data={"kind": "note", "text": "x", "csrf": "guess"}).status_code
        == 403
    )
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
    assert (
        client.post("/jobs/lamp/evidence", data={"kind": "note", "text": "x"}, headers=headers).status_code
        == 403
    )
    assert store.job("lamp").last_change == before


def test_a_name_of_another_site_is_not_answered(client):
    assert client.get("/jobs", headers={"Host": "evil.test"}).status_code == 421


@pytest.fixture
def guest(store):
    """A function: address → a client that has not signed in."""
    app = create_app(store, accounts=True, hosts=None)
    return lambda address: TestClient(
        app, base_url="http://shop.test", client=(address, 1), follow_redirects=False
    )


def guess(client, password="wrong", name="owner"):
    return client.post("/sign-in", data={"name": name, "password": password})


def test_a_hash_costs_as_much_as_the_standard_asks_for_where_memory_is_short():
    # RFC 9106, section 4, second recommended option: Argon2id, 3 passes, 64 MiB, 4 lanes, 128 bits of salt
    assert _HASHER.hash(PASSWORD).startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert (_HASHER.salt_len, _HASHER.hash_len) == (16, 32)


def test_passwords_are_throttled_by_name_and_address(signed_in, guest, monkeypatch):
    """Guesses from elsewhere shut out whoever makes them, not the owner: neither his session nor his own address."""
    owner = signed_in("owner")
    guesser, at = guest("192.0.2.66"), accounts.now()
    monkeypatch.setattr(accounts, "now", lambda: at)
    assert [guess(guesser).status_code for _ in range(7)] == [401] * 5 + [429] * 2
    refused = guess(guesser, PASSWORD)
    assert (refused.status_code, 0 < int(refused.headers["Retry-After"]) <= 30) == (429, True)
    assert owner.get("/jobs").status_code == 200
    assert guess(guest("192.0.2.7"), PASSWORD).status_code == 303
    # After its wait each further guess makes the next wait twice as long.
    for wait, told in ((31, 60), (61, 120)):
        at += timedelta(seconds=wait)
        assert guess(guesser).status_code == 401
        assert guess(guesser).headers["Retry-After"] == str(told)


def test_guesses_from_everywhere_do_not_shut_the_owner_out_of_his_own_address(signed_in, guest, monkeypatch):
    owner = TestClient(signed_in("owner").app, base_url="http://shop.test", follow_redirects=False)
    with monkeypatch.context() as patched:
        patched.setattr(accounts, "_verified", lambda *_: None)
        codes = [guess(guest(f"198.51.100.{number}")).status_code for number in range(22)]
    assert codes == [401] * 20 + [429] * 2
    assert guess(owner, PASSWORD).status_code == 303
    assert guess(guest("198.51.100.99"), PASSWORD).status_code == 429


def test_guesses_that_come_at_once_are_counted_before_they_are_looked_at(store, monkeypatch):
    looked = []
    monkeypatch.setattr(accounts, "_verified", lambda *asked: looked.append(asked))

    def answer(_number):
        try:
            accounts.sign_in(store, "owner", "wrong", "192.0.2.66")
        except HTTPException as refused:
            return refused.status_code
        return 401

    with ThreadPoolExecutor(30) as many:
        codes = sorted(many.map(answer, range(60)))
    assert (codes, len(looked)) == ([401] * 5 + [429] * 55, 5)


def test_a_long_body_is_not_read_before_somebody_has_signed_in(signed_in, guest, job):
    client, body = guest("192.0.2.66"), b"[" + b"0," * 60_000 + b"0]"

    def chunks():
        yield from [body] * 3

    assert client.post("/api/v1/jobs", content=body).status_code == 401
    assert client.post("/api/v1/jobs", content=chunks()).status_code == 401
    assert client.post("/jobs/import", content=body).status_code == 401
    assert signed_in("technician").post("/api/v1/jobs", content=body).status_code == 422


def test_a_short_body_has_to_come_in_time(monkeypatch):
    """Whoever sends a form a byte now and then holds no line open; what comes after the form may take any time."""
    monkeypatch.setattr(guard, "WITHIN", 0.1)
    sent = []

    async def reads_a_form(scope, receive, send):
        assert (await receive())["body"] == b"a"
        if scope["path"] == "/slow":
            await receive()
        await asyncio.wait_for(receive(), 5)
        await send({"type": "http.response.start", "status": 200, "headers": []})

    async def asked(path):
        coming = [{"type": "http.request", "body": b"a", "more_body": path == "/slow"}]

        async def receive():
            if coming:
                return coming.pop()
            await asyncio.sleep(0.3)
            return {"type": "http.disconnect"}

        async def send(message):
            sent.append(message)

        headers = [(b"host", b"127.0.0.1"), (b"content-length", b"9")]
        scope = {"type": "http", "method": "POST", "path": path, "headers": headers}
        await guard.Guard(reads_a_form)(scope, receive, send)
        return sent[0]["status"]

    assert asyncio.run(asked("/slow")) == 408
    sent.clear()
    assert asyncio.run(asked("/whole")) == 200


def test_only_an_adapter_of_the_owners_list_is_opened(signed_in, job):
    form = {"channel": "slcan:socket://127.0.0.1:1", "bit_rate": "500000"}
    technician = signed_in("technician")
    refused = technician.post("/jobs/lamp/scan/live", data=form)
    assert (refused.status_code, "not among the workshop" in refused.text) == (422, True)
    assert (
        signed_in("owner").post("/settings", data={"adapters": f"\n {form['channel']}\n"}).status_code == 303
    )
    assert technician.post("/jobs/lamp/scan/live", data=form).status_code == 303


@pytest.mark.parametrize(
    ("address", "allowed"),
    [("/jobs/lamp/intake", "GET, POST"), ("/sign-in", "GET, POST"), ("/static/x.css", "GET, HEAD")],
)
def test_a_method_that_is_not_there_says_which_are(client, job, address, allowed):
    answer = client.delete(address)
    assert (answer.status_code, answer.headers["Allow"]) == (405, allowed)


def test_a_public_address_behind_a_proxy_needs_accounts_and_has_secure_cookies(store, guest):
    serving = Serving(public="https://jobs.shop.test")
    assert (serving.own, serving.secure, serving.reached) == (False, True, ["https://jobs.shop.test"])
    assert serving.hosts == {"jobs.shop.test", "localhost", "127.0.0.1", "::1"}
    path = new_owner_link(store, "http://shop.test").removeprefix("http://shop.test")
    guest("127.0.0.1").post(path, data={"name": "Ada", "password": PASSWORD})
    app = create_app(store, accounts=True, hosts=serving.hosts, secure=serving.secure)
    proxied = TestClient(app, base_url="http://jobs.shop.test", follow_redirects=False)
    answer = guess(proxied, PASSWORD, "Ada")
    assert "secure" in answer.headers["set-cookie"].lower()
    assert "max-age" in answer.headers["Strict-Transport-Security"]
    assert proxied.get("/jobs", headers={"Host": "other.test"}).status_code == 421
    with pytest.raises(InputError, match="belong together"):
        Serving(certificate=Path("c.pem"))
    with pytest.raises(InputError, match="no address"):
        Serving(public="jobs.shop.test")


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
