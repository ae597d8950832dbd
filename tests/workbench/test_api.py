"""The interface for programs: problem documents (RFC 9457), strict bodies, and no request that ends in a 5xx."""

from collections import Counter

import pytest
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
    import schemathesis  # slow to import

    store = JobStore(f"sqlite:///{tmp_path_factory.mktemp('api')}/jobs.db")
    jobs.open_job(store, Intake(), who="Ada", job_id="demo")
    app = create_app(store, hosts=None)
    yield schemathesis.openapi.from_asgi("/api/v1/openapi.json", app)
    store.close()


@pytest.mark.parametrize("fits", [True, False])
def test_the_server_takes_what_the_description_admits_and_refuses_what_it_refuses(schema, fits):
    from schemathesis import GenerationMode

    mode = GenerationMode.POSITIVE if fits else GenerationMode.NEGATIVE
    seen = Counter()

    def answers(operation):
        @given(case=operation.as_strategy(generation_mode=mode))
        @settings(max_examples=8, suppress_health_check=list(HealthCheck), deadline=None)
        def one(case):
            answer = case.call()
            seen[answer.status_code] += 1
            told = (case.method, case.formatted_path, case.query, case.body, answer.text[:300])
            by_content = answer.status_code == 422 and (
                "A question about" in answer.text or operation.path.endswith(("captures", "scans"))
            )
            assert answer.status_code in ((200, 201, 404, 409) if fits else range(400, 500)) or by_content, (
                told
            )

        return one

    operations = [found.ok() for found in schema.get_all_operations()]
    for operation in operations:
        if fits or operation.body:  # what else stands in an address is left alone
            answers(operation)()
    assert len(operations) > 15
    assert ({200, 404} if fits else {422}) <= set(seen)
