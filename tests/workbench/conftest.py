"""A small circuit, a job on it, and clients: on loopback, and with accounts."""

from collections.abc import Callable, Iterator
from io import BytesIO

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from halfsplit import job as jobs
from halfsplit.job import Intake, JobStore, User
from halfsplit.job.open_job import OpenJob
from halfsplit.workbench.accounts import checked_password, now
from halfsplit.workbench.app import create_app
from tests.circuits import ONE_LAMP as LAMP
from tests.sharing import shared

PASSWORD = "a long enough one"


@pytest.fixture(autouse=True, scope="package")
def _sharing() -> Iterator[None]:
    with shared():
        yield


@pytest.fixture
def job(store) -> str:
    """A job with a circuit and a complaint."""
    opened = jobs.open_job(store, Intake(), who="Ada", job_id="lamp", circuit=LAMP)
    jobs.complain_all(OpenJob(store, opened.job_id, "Ada"), [("H1", "no", "on")])
    return opened.job_id


@pytest.fixture(scope="session")
def png() -> bytes:
    """A small picture."""
    made = BytesIO()
    Image.new("RGB", (40, 30), "#446688").save(made, "PNG")
    return made.getvalue()


@pytest.fixture
def client(store) -> TestClient:
    return TestClient(create_app(store), base_url="http://127.0.0.1", follow_redirects=False)


@pytest.fixture(scope="session")
def client_of() -> Callable[[JobStore], TestClient]:
    """A function: store → a client on loopback."""
    return lambda store: TestClient(create_app(store), base_url="http://127.0.0.1", follow_redirects=False)


@pytest.fixture
def signed_in(store) -> Callable[[str], TestClient]:
    """A function: role → a client whose person has signed in; it sends the session's token by itself."""
    app = create_app(store, accounts=True, hosts=None)

    def client(role: str) -> TestClient:
        user = User(name=role, password_hash=checked_password(PASSWORD), role=role, created_at=now())
        store.accounts.add_user(user, who="test", at=now())
        made = TestClient(app, base_url="http://shop.test", follow_redirects=False)
        assert made.post("/sign-in", data={"name": role, "password": PASSWORD}).status_code == 303
        text = made.get("/jobs").text
        made.headers["X-CSRF-Token"] = text.split('data-csrf="')[1].split('"')[0]
        return made

    return client
