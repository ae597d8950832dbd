"""Reading in a process of its own: the same capture, refusals as they are, progress, a stop, bounded memory."""

from pathlib import Path

import numpy as np
import pytest

from halfsplit.capture import worker
from halfsplit.capture.storage import load
from halfsplit.errors import InputError


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    path = tmp_path / "ramp.npz"
    np.savez(path, rate=1000.0, volts=np.arange(5000, dtype=np.float32))
    return path


def test_a_packed_file_is_unfolded_in_another_process(archive: Path, tmp_path: Path) -> None:
    shares: list[float] = []
    worker.unfold(archive, tmp_path / "kept", "ramp", lambda share: shares.append(share) or True)
    kept = load(tmp_path / "kept")
    assert kept.source == "ramp"
    assert np.array_equal(kept["volts"].raw, np.arange(5000))
    assert shares[-1] == 1.0


def test_a_refusal_comes_through_and_nothing_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "bomb.npz"
    np.savez_compressed(path, rate=1000.0, a=np.zeros((2, 2_000_000), np.int8))
    with pytest.raises(InputError, match="at most 1,000 are read"):
        worker.unfold(path, tmp_path / "kept", "bomb")
    assert not (tmp_path / "kept").exists()


def test_reading_can_be_stopped(archive: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="was stopped"):
        worker.unfold(archive, tmp_path / "kept", "ramp", lambda _: False)


def test_a_process_that_ends_without_a_word_took_too_much_memory(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(worker.sys, "executable", "/bin/false")
    with pytest.raises(InputError, match="takes more memory"):
        worker.unfold(archive, tmp_path / "kept", "ramp")


@pytest.mark.parametrize(("share", "left"), [(0.0, None), (0.25, 30.0), (0.5, 10.0)])
def test_remaining_time(share: float, left: float | None) -> None:
    found = worker.remaining(100.0, share, 110.0)
    assert found == left if left is None else found == pytest.approx(left)
