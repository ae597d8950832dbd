"""The interface for programs: problem documents (RFC 9457), strict bodies, and no request that ends in a 5xx."""

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings

from halfsplit import job as jobs
from halfsplit.job import Intake, JobStore
from halfsplit.workbench.app import create_app

PLACE = {"quantity": "volts", "at": "F1.2", "state": "on"}


def test_a_job_from_opening_to_suspects(client):
    made = client.post("/api/v1/jobs", json={"job_id": "a", "complaint": "dark"})
    assert (made.status_code, made.json()["number"]) == (201, 1)
    assert client.post("/api/v1/jobs", json={"job_id": "a", "complaint": "dark"}).json() == made.json()
    text = "battery G1\nfuse F1 10 A\nlamp H1\nground E1\nG1.+ -- F1 -- H1 -- E1\nG1.- --[16mm2]-- E1\n"
    assert client.put("/api/v1/jobs/a/circuit", json={"text": text}).json()["parts"]["H1"] == "lamp"
    body = {"kind": "complaint", "payload": {"load": "H1", "works": "no"}}
    assert client.post("/api/v1/jobs/a/evidence", json=body).status_code == 201
    told = client.get("/api/v1/jobs/a/suspects").json()
    assert sum(one["probability"] for one in told["suspects"]) == pytest.approx(1.0, abs=1e-6)
    test = client.get("/api/v1/jobs/a/tests").json()[0]
    assert test["place"]["quantity"] == test["quantity"]


def test_an_odd_reading_is_a_question_until_it_is_confirmed(client, job):
    body = {"place": PLACE, "value": "400", "unit": "V", "entry_id": "x"}
    asked = client.post(f"/api/v1/jobs/{job}/evidence", json=body)
    assert (asked.status_code, asked.json()["question"]) == (422, True)
    assert asked.headers["content-type"] == "application/problem+json"
    assert client.post(f"/api/v1/jobs/{job}/evidence", json=body | {"confirmed": True}).status_code == 201


@pytest.mark.parametrize(
    "body", [{"kind": "reading", "value": "1", "more": 1}, {"kind": "nonsense"}, {"value": True}, []]
)
def test_bodies_are_strict(client, job, body):
    answer = client.post(f"/api/v1/jobs/{job}/evidence", json=body)
    assert (answer.status_code, answer.json()["status"]) == (422, 422)


@pytest.fixture(scope="module")
def schema(tmp_path_factory):
    store = JobStore(f"sqlite:///{tmp_path_factory.mktemp('api')}/jobs.db")
    jobs.open_job(store, Intake(), who="Ada", job_id="demo")
    app = create_app(store, hosts=None)
    yield schemathesis.openapi.from_asgi("/api/v1/openapi.json", app)
    store.close()


def test_nothing_that_fits_the_description_ends_in_a_5xx(schema):
    operations = [found.ok() for found in schema.get_all_operations()]
    seen = []
    for operation in operations:

        @given(case=operation.as_strategy())
        @settings(max_examples=12, suppress_health_check=list(HealthCheck))
        def answers(case):
            answer = case.call()
            seen.append(answer.status_code)
            assert answer.status_code < 500, (case.method, case.formatted_path, answer.text)

        answers()
    assert len(operations) > 15
    assert {200, 404} <= set(seen)
