"""Each role against each route, with a genuine and with a forged token. A route that this table does not know fails."""

import re

import pytest
from fastapi.testclient import TestClient

from halfsplit import job as jobs
from halfsplit.job import Intake
from halfsplit.workbench.app import create_app

ROLES = ("viewer", "adviser", "technician", "owner")
MAY = {
    "anyone": ROLES,
    "read": ROLES,
    "intake": ROLES[1:],
    "money": ROLES[1:],
    "measure": ROLES[2:],
    "manage": ROLES[3:],
}
"""Right → the roles that have it; 'anyone' needs no account."""
ROUTES = {
    "GET /": "anyone",
    "GET /drawing.css": "anyone",
    "GET /worker.js": "anyone",
    "GET /static/styles/{bay}.css": "anyone",
    "GET /sign-in": "anyone",
    "POST /sign-in": "anyone",
    "GET /owner/{token}": "anyone",
    "POST /owner/{token}": "anyone",
    "POST /sign-out": "read",
    "GET /jobs": "read",
    "GET /learned": "read",
    "POST /learned": "manage",
    "GET /jobs/new": "intake",
    "POST /jobs": "intake",
    "POST /jobs/import": "intake",
    "GET /jobs/{job_id}/progress": "read",
    "GET /help": "read",
    "POST /examples/{page}": "intake",
    "GET /jobs/{job_id}/intake": "intake",
    "POST /jobs/{job_id}/intake": "intake",
    "GET /vin": "read",
    "GET /battery": "read",
    "GET /jobs/{job_id}": "read",
    "GET /jobs/{job_id}/drawing": "read",
    "GET /jobs/{job_id}/looks": "read",
    "GET /jobs/{job_id}/changes": "read",
    "POST /jobs/{job_id}/evidence": "measure",
    "POST /jobs/{job_id}/evidence/{entry_id}/strike": "measure",
    "POST /jobs/{job_id}/evidence/{entry_id}/undo": "measure",
    "POST /jobs/{job_id}/close": "measure",
    "POST /jobs/{job_id}/state": "measure",
    "GET /jobs/{job_id}/circuit": "read",
    "POST /jobs/{job_id}/circuit/check": "read",
    "POST /jobs/{job_id}/circuit": "measure",
    "GET /jobs/{job_id}/circuit/patterns/{name}.svg": "read",
    "POST /jobs/{job_id}/circuit/pattern": "measure",
    "POST /jobs/{job_id}/circuit/sketch": "measure",
    "POST /jobs/{job_id}/circuit/file": "measure",
    "GET /jobs/{job_id}/circuit/taps": "read",
    "POST /jobs/{job_id}/circuit/taps": "measure",
    "GET /jobs/{job_id}/circuit/drawn": "read",
    "POST /jobs/{job_id}/circuit/diagram": "measure",
    "GET /jobs/{job_id}/circuit/diagram": "read",
    "GET /jobs/{job_id}/circuit/diagram/pages/{key}": "read",
    "POST /jobs/{job_id}/circuit/diagram/pages": "measure",
    "POST /jobs/{job_id}/circuit/diagram/act": "measure",
    "POST /jobs/{job_id}/circuit/diagram/corners": "measure",
    "POST /jobs/{job_id}/circuit/diagram/take": "measure",
    "GET /jobs/{job_id}/circuit/harness": "read",
    "POST /jobs/{job_id}/circuit/harness": "measure",
    "POST /jobs/{job_id}/circuit/harness/file": "measure",
    "GET /jobs/{job_id}/captures": "read",
    "POST /jobs/{job_id}/captures/reading/{key}/stop": "measure",
    "POST /jobs/{job_id}/captures": "measure",
    "GET /jobs/{job_id}/captures/{capture_id}": "read",
    "POST /jobs/{job_id}/captures/{capture_id}/analysis": "measure",
    "GET /jobs/{job_id}/captures/{capture_id}/measuring": "read",
    "POST /jobs/{job_id}/captures/{capture_id}/measuring/stop": "measure",
    "POST /jobs/{job_id}/captures/{capture_id}/evidence": "measure",
    "POST /jobs/{job_id}/captures/{capture_id}/snapshot": "measure",
    "GET /jobs/{job_id}/captures/{capture_id}/window": "read",
    "GET /jobs/{job_id}/captures/{capture_id}/cursors": "read",
    "GET /jobs/{job_id}/captures/{capture_id}/event": "read",
    "GET /jobs/{job_id}/captures/{capture_id}/picture.png": "read",
    "GET /jobs/{job_id}/scan": "read",
    "POST /jobs/{job_id}/scan/paste": "measure",
    "POST /jobs/{job_id}/scan/file": "measure",
    "POST /jobs/{job_id}/scan/{scan_id}/line": "measure",
    "POST /jobs/{job_id}/scan/{scan_id}/strike": "measure",
    "POST /jobs/{job_id}/scan/{scan_id}/table": "measure",
    "GET /jobs/{job_id}/scan/compare": "read",
    "GET /jobs/{job_id}/scan/cause": "read",
    "GET /jobs/{job_id}/scan/live": "read",
    "POST /jobs/{job_id}/scan/live": "measure",
    "GET /jobs/{job_id}/scan/live/run": "read",
    "POST /jobs/{job_id}/scan/live/stop": "measure",
    "POST /jobs/{job_id}/scan/live/clear/look": "measure",
    "POST /jobs/{job_id}/scan/live/clear": "measure",
    "POST /jobs/{job_id}/steps": "money",
    "POST /jobs/{job_id}/steps/{step_id}/stop": "money",
    "POST /jobs/{job_id}/parts": "money",
    "POST /jobs/{job_id}/{kind}/{line_id}/withdraw": "money",
    "POST /jobs/{job_id}/limit": "money",
    "POST /jobs/{job_id}/photos": "measure",
    "GET /jobs/{job_id}/files/{attachment_id}": "read",
    "GET /jobs/{job_id}/export": "read",
    "GET /jobs/{job_id}/report": "read",
    "GET /jobs/{job_id}/report.pdf": "read",
    "GET /jobs/{job_id}/drain": "read",
    "POST /jobs/{job_id}/drain/log": "measure",
    "POST /jobs/{job_id}/drain/battery": "measure",
    "POST /jobs/{job_id}/drain/fuses": "measure",
    "POST /jobs/{job_id}/drain/{drain_id}/strike": "measure",
    "POST /jobs/{job_id}/drain/{drain_id}/reading": "measure",
    "GET /jobs/{job_id}/plan": "read",
    "GET /jobs/{job_id}/plan/state": "read",
    "GET /jobs/{job_id}/plan.pdf": "read",
    "POST /jobs/{job_id}/plan": "measure",
    "POST /jobs/{job_id}/plan/stop": "measure",
    "GET /practice": "read",
    "POST /practice": "read",
    "GET /practice/{practice_id}": "read",
    "GET /practice/{practice_id}/judged": "read",
    "POST /practice/{practice_id}/judged/stop": "read",
    "POST /practice/{practice_id}/{act}": "read",
    "GET /people": "manage",
    "POST /people": "manage",
    "POST /people/{name}": "manage",
    "GET /audit": "manage",
    "GET /settings": "manage",
    "POST /settings": "manage",
    "GET /api/v1/openapi.json": "read",
    "GET /api/v1/jobs": "read",
    "POST /api/v1/jobs": "intake",
    "GET /api/v1/jobs/{job_id}": "read",
    "GET /api/v1/jobs/{job_id}/circuit": "read",
    "PUT /api/v1/jobs/{job_id}/circuit": "measure",
    "POST /api/v1/circuits/check": "read",
    "GET /api/v1/jobs/{job_id}/evidence": "read",
    "POST /api/v1/jobs/{job_id}/evidence": "measure",
    "POST /api/v1/jobs/{job_id}/evidence/{entry_id}/strike": "measure",
    "GET /api/v1/jobs/{job_id}/tests": "read",
    "GET /api/v1/jobs/{job_id}/suspects": "read",
    "GET /api/v1/jobs/{job_id}/captures": "read",
    "POST /api/v1/jobs/{job_id}/captures": "measure",
    "GET /api/v1/jobs/{job_id}/scans": "read",
    "POST /api/v1/jobs/{job_id}/scans": "measure",
    "GET /api/v1/jobs/{job_id}/reports": "read",
}
STREAM = "GET /jobs/{job_id}/changes"
"""Does not end by itself: asked for without an account only."""
LAST = "POST /sign-out"


def routes_of(app):
    """'METHOD /path' of everything that the application answers to."""
    for route in app.routes:
        for method in sorted(getattr(route, "methods", None) or ()):
            if method != "HEAD":
                yield f"{method} {route.path}"


def ask(client, route):
    method, path = route.split(" ")
    body = {"json": {}} if "/api/" in path and method != "GET" else {}
    return client.request(method, re.sub(r"\{\w+\}", "bare", path), **body)


@pytest.fixture
def bare(store):
    """A job without a circuit: what is asked here is who may, not what comes of it."""
    return jobs.open_job(store, Intake(), who="Ada", job_id="bare").job_id


def test_the_table_knows_every_route_and_no_other(store):
    app = create_app(store, accounts=True, hosts=None).app
    unknown = set(routes_of(app)) - ROUTES.keys()
    assert not unknown, f"say in ROUTES which right these need: {sorted(unknown)}"
    assert not ROUTES.keys() - set(routes_of(app))


@pytest.mark.parametrize("role", ROLES)
def test_each_role_reaches_what_it_may_and_nothing_else(signed_in, bare, role):
    client = signed_in(role)
    wrong = {}
    for route in [*(one for one in ROUTES if one not in (STREAM, LAST)), LAST]:
        status = ask(client, route).status_code
        if (status != 403) != (role in MAY[ROUTES[route]]) or status >= 500:
            wrong[route] = status
    assert wrong == {}


def test_without_an_account_nothing_is_reached_but_the_sign_in(store, bare):
    app = create_app(store, accounts=True, hosts=None)
    client = TestClient(app, base_url="http://shop.test", follow_redirects=False)
    wrong = {}
    for route, right in ROUTES.items():
        if right != "anyone":
            answer = ask(client, route)
            seen = (answer.status_code, answer.headers.get("location"))
            if seen not in {(303, "/sign-in"), (401, None)}:
                wrong[route] = seen
    assert wrong == {}


def test_a_forged_token_changes_nothing_anywhere(signed_in, store, bare):
    client = signed_in("owner")
    client.headers["X-CSRF-Token"] = "guess"
    before = store.job("bare").last_change
    changing = [one for one, right in ROUTES.items() if not one.startswith("GET") and right != "anyone"]
    assert {ask(client, route).status_code for route in changing} == {403}
    assert store.job("bare").last_change == before


def test_another_site_reaches_no_route_that_changes_something(client, store, bare):
    """Without accounts too: a page elsewhere cannot post to the workbench on this machine."""
    client.headers["Sec-Fetch-Site"] = "cross-site"
    before = store.job("bare").last_change
    changing = [one for one in ROUTES if not one.startswith("GET")]
    assert {ask(client, route).status_code for route in changing} == {403}
    assert store.job("bare").last_change == before
