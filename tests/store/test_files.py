"""Attachments' bytes: told by content, bounded, stored under nothing but their hash."""

import hashlib
import io
import wave
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from halfsplit.errors import InputError
from halfsplit.store.content import ACCEPTED, check_content, media_type
from halfsplit.store.files import FileStore
from tests.store.samples import CSV, JPEG


@pytest.fixture
def files(tmp_path) -> FileStore:
    return FileStore(tmp_path / "files")


def written(write) -> bytes:
    target = BytesIO()
    write(target)
    return target.getvalue()


def picture(form: str) -> bytes:
    return written(lambda target: Image.new("RGB", (9, 7)).save(target, form))


def sound() -> bytes:
    def write(target):
        with wave.open(target, "wb") as file:
            file.setparams((1, 2, 8000, 0, "NONE", ""))
            file.writeframes(bytes(100))

    return written(write)


@pytest.mark.parametrize(
    ("made", "found"),
    [
        (lambda: picture("JPEG"), "image/jpeg"),
        (lambda: picture("PNG"), "image/png"),
        (lambda: picture("WEBP"), "image/webp"),
        (lambda: picture("PDF"), "application/pdf"),
        (sound, "audio/wav"),
        (lambda: written(lambda target: np.savez(target, volts=np.zeros(3))), "application/zip"),
        (lambda: CSV, "text/plain"),
        (lambda: "Spannung;12,6 °C".encode("cp1252"), "text/plain"),
        (lambda: "Spannung".encode("utf-16"), "text/plain"),
        (lambda: b"<!DOCTYPE html><script>alert(1)</script>", "text/plain"),
        (lambda: b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>', "text/plain"),
        (lambda: b"\x7fELF\x02\x01\x01\x00", None),
        (lambda: bytes(100), None),
        (lambda: b"", None),
    ],
)
def test_type_by_content_as_other_programs_write_it(made, found):
    """Pictures by Pillow, sound and ZIP by Python's library, arrays by numpy: programs that know nothing of ours."""
    assert media_type(made()) == found


@pytest.mark.requires("asammdf")
def test_mdf_and_parquet_by_their_own_libraries(tmp_path):
    asammdf = pytest.importorskip("asammdf")
    parquet = pytest.importorskip("pyarrow.parquet")
    signal = asammdf.Signal(np.zeros(3), np.arange(3.0), name="volts")
    measurement = asammdf.MDF(version="4.10")
    measurement.append([signal])
    path = measurement.save(tmp_path / "a.mf4")
    measurement.close()
    assert media_type(path.read_bytes()[:4096]) == "application/x-mdf"
    table = pytest.importorskip("pyarrow").table({"volts": [1.0]})
    parquet.write_table(table, tmp_path / "a.parquet")
    assert media_type((tmp_path / "a.parquet").read_bytes()) == "application/vnd.apache.parquet"


@pytest.mark.parametrize(
    ("kind", "head", "message"),
    [
        (
            "photo",
            CSV,
            "x.jpg: this is text/plain, a photo is image/heic or image/jpeg or image/png or image/webp",
        ),
        ("photo", bytes(9), "this is of no type known here"),
        ("photo", b"", "x.jpg: the file is empty"),
        ("scan", JPEG, "this is image/jpeg, a scan is application/pdf or text/plain"),
        ("program", JPEG, "'program' is no kind of attachment: choose photo, document, capture, scan"),
    ],
)
def test_what_is_not_accepted(kind, head, message):
    with pytest.raises(InputError, match=message):
        check_content(kind, head, "x.jpg")


def test_a_file_lies_under_its_hash(files):
    stored = files.put(BytesIO(JPEG), "photo", "../../X31.jpg")
    assert stored.sha256 == hashlib.sha256(JPEG).hexdigest()
    assert files.path(stored.sha256).read_bytes() == JPEG
    assert [path for path in files.folder.rglob("*") if path.is_file()] == [files.path(stored.sha256)]
    files.check(stored.sha256, len(JPEG))


@pytest.mark.parametrize(
    "name", ["", "..", "../" * 22, "A" * 64, "0" * 63, "0" * 64 + "/", "0" * 64 + "\n", "x" * 999]
)
def test_nothing_but_a_hash_is_a_name(files, name):
    with pytest.raises(InputError, match="is no SHA-256"):
        files.open(name)


class Endless(io.RawIOBase):
    """More bytes than anyone would wait for; counts what was asked of it."""

    given = 0

    def read(self, size=-1):
        self.given += size
        return b"volts;" * (size // 6)


def test_reading_stops_at_the_limit(files):
    source = Endless()
    with pytest.raises(
        InputError, match=r"scan\.txt: more than 10,000,000 bytes, which is the most for a scan"
    ):
        files.put(source, "scan", "scan.txt")
    assert source.given <= ACCEPTED["scan"].largest + 2_000_000
    assert [path for path in files.folder.rglob("*") if path.is_file()] == []


def test_a_source_that_breaks_off_leaves_nothing(files):
    class Broken(io.RawIOBase):
        def read(self, size=-1):
            raise ConnectionResetError(104, "Connection reset by peer")

    with pytest.raises(Exception, match="Connection reset"):
        files.put(Broken(), "photo", "x.jpg")
    assert [path for path in files.folder.rglob("*") if path.is_file()] == []


def test_what_a_killed_program_had_begun_to_take_in_is_removed_at_start(files):
    """A file that another server takes in at this moment stays."""
    files.folder.mkdir(parents=True)
    left = files.folder / "incoming-left"
    left.write_bytes(b"half")

    class Slow(io.BytesIO):
        def read(self, size=-1):
            wanted = int(left.exists())
            assert FileStore(files.folder).tidy() == wanted
            return super().read(size)

    stored = files.put(Slow(JPEG), "photo", "x.jpg")
    assert files.path(stored.sha256).read_bytes() == JPEG
    assert not left.exists()
