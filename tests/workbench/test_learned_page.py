"""What our jobs say, as a page: the shares beside the shipped ones, the circuits of this store, and the switch."""

import xml.etree.ElementTree as ET
from datetime import UTC, datetime

import pytest

from halfsplit.diagnosis.learned import Cause, CircuitTally, Tally, digest, shipped_shares
from halfsplit.job.learned_file import Learned, read_learned, write_learned
from halfsplit.notation.checked import check_text

from .conftest import LAMP


@pytest.fixture
def learned(tmp_path, monkeypatch):
    """Nine jobs on the lamp's circuit, seven of them at its ground."""
    path, circuit = tmp_path / "learned.toml", check_text(LAMP).circuit
    monkeypatch.setenv("HALFSPLIT_LEARNED", str(path))
    causes = {Cause("E1", "ground", "high resistance"): 7, Cause("F1", "fuse", "open"): 2}
    tally = Tally({digest(circuit.model): CircuitTally(shipped_shares(circuit), causes)})
    write_learned(path, Learned(tally, (("North <b>", datetime(2026, 3, 2, tzinfo=UTC), 9),)))
    return path


def test_nothing_learned_is_said(client, tmp_path, monkeypatch):
    monkeypatch.setenv("HALFSPLIT_LEARNED", str(tmp_path / "none.toml"))
    assert "Nothing has been learned yet" in client.get("/learned").text
    (tmp_path / "none.toml").write_text("x")
    assert "no file of" in client.get("/learned").text


def test_the_shares_are_drawn_and_the_switch_works(client, job, learned):
    page = client.get("/learned").text
    assert "9 jobs from North &lt;b&gt;" in page
    assert "E1 in 7 of 9, F1 in 2 of 9" in page
    pictures = ["<svg" + part.split("</svg>")[0] + "</svg>" for part in page.split("<svg")[2:]]
    kinds = {ET.fromstring(one).get("aria-label").split(":")[0] for one in pictures}
    assert {"ground", "fuse", "lamp"} <= kinds
    assert client.post("/learned", data={"use": "0"}).status_code == 303
    assert not read_learned(learned).used
    assert "It is not used" in client.get("/learned").text
