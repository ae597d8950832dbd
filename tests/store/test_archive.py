"""A whole job out and in again, and archives that somebody has made to do harm."""

import hashlib
import json
import struct
import zipfile
from io import BytesIO

import pytest

from halfsplit.errors import ConflictError, InputError, NotFoundError, StorageError
from halfsplit.store import Attachment, EvidenceEntry, Intake, JobStore, archive, export_job, import_job
from tests.store.conftest import BACKENDS
from tests.store.samples import CSV, JPEG, NOW, fill, intake, later, reading


@pytest.fixture
def other(request, new_url, tmp_path):
    """A second store, of the other workshop."""
    with JobStore(new_url(getattr(request, "param", "sqlite")), files=tmp_path / "other-files") as store:
        yield store


@pytest.fixture(scope="module")
def exported(tmp_path_factory) -> bytes:
    with JobStore(f"sqlite:///{tmp_path_factory.mktemp('first')}/jobs.db") as store:
        fill(store)
        return export(store)


def export(store: JobStore, job_id: str = "job-1") -> bytes:
    target = BytesIO()
    export_job(store, job_id, target)
    return target.getvalue()


def take_in(store: JobStore, data: bytes, **more):
    return import_job(store, BytesIO(data), who="Cy", at=later(60), **more)


# There and back


@pytest.mark.parametrize("other", BACKENDS, indirect=True)
def test_a_job_arrives_whole(store, other):
    fill(store)
    other.open_job("local", Intake(), who="Cy", at=NOW)
    job = take_in(other, export(store))
    assert (job.job_id, job.number, job.state) == ("job-1", 2, "closed")
    sent, arrived = store.whole_job("job-1"), other.whole_job("job-1")
    for name in ("customer", "intakes", "circuits", "evidence", "attachments", "steps", "parts"):
        assert getattr(arrived, name) == getattr(sent, name)
    for name in ("authorisations", "shown", "closings", "opened_at", "opened_by", "state"):
        assert getattr(arrived, name) == getattr(sent, name)
    assert arrived.changes[:-1] == sent.changes
    assert (arrived.changes[-1].what, arrived.changes[-1].who) == ("import", "Cy")
    with (
        other.open_attachment("job-1", "photo-1") as photo,
        other.open_attachment("job-1", "capture-1") as capture,
    ):
        assert (photo.read(), capture.read()) == (JPEG, CSV)
    assert other.check() == ()
    assert other.record("job-1", reading("entry-9")).sequence == job.last_change + 1


def test_the_same_job_gives_the_same_bytes(store):
    fill(store)
    assert export(store) == export(store)


def test_a_general_purpose_unpacker_reads_it(exported, tmp_path):
    """The ZIP itself is checked by Python's `zipfile`, the hashes by `hashlib`: neither knows of our format."""
    with zipfile.ZipFile(BytesIO(exported)) as file:
        assert file.testzip() is None
        names = file.namelist()
        assert names[:2] == ["manifest.json", "job.json"]
        for name in names[2:]:
            assert hashlib.sha256(file.read(name)).hexdigest() == name.removeprefix("files/")
        manifest = json.loads(file.read("manifest.json"))
    assert (manifest["format"], manifest["schema"], manifest["counts"]["evidence"]) == ("halfsplit job", 1, 3)


def test_a_job_that_is_there_is_not_overwritten_but_may_be_copied(other, exported):
    take_in(other, exported)
    with pytest.raises(ConflictError, match="job job-1 is in this job store already"):
        take_in(other, exported)
    copy = take_in(other, exported, job_id="copy")
    assert (copy.number, len(other.evidence("copy"))) == (2, 3)


def test_an_empty_job_travels_too(store, other):
    store.open_job("job-1", Intake(), who="Ada", at=NOW)
    assert take_in(other, export(store)).intake == Intake()


def test_what_cannot_be_exported(sqlite_store):
    with pytest.raises(NotFoundError):
        export(sqlite_store)
    fill(sqlite_store)
    sqlite_store.files.path(sqlite_store.attachments("job-1")[0].sha256).unlink()
    with pytest.raises(StorageError, match="file of an attachment is missing"):
        export(sqlite_store)


# Hostile archives: each is made from a sound one by one change


def members(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(BytesIO(data)) as file:
        return {name: file.read(name) for name in file.namelist()}


def pack(content: dict[str, bytes], *, compress: tuple[str, ...] = (), twice: str | None = None) -> bytes:
    target = BytesIO()
    with zipfile.ZipFile(target, "w") as file:
        for name, data in content.items():
            file.writestr(name, data, zipfile.ZIP_DEFLATED if name in compress else zipfile.ZIP_STORED)
        if twice:
            with pytest.warns(UserWarning, match="Duplicate name"):
                file.writestr(twice, content[twice])
    return target.getvalue()


def sealed(content: dict[str, bytes], manifest: dict | None = None) -> dict[str, bytes]:
    """The content with a manifest that is true of it, so that only what is meant to be wrong is wrong."""
    said = manifest or json.loads(content["manifest.json"])
    document = json.loads(content["job.json"])
    files = [
        {"path": name, "size": len(data), "sha256": hashlib.sha256(data).hexdigest()}
        for name, data in content.items()
        if name != "manifest.json"
    ]
    counts = {name: len(value) for name, value in document.items() if isinstance(value, list)}
    said |= {"files": files, "counts": counts, "job_id": document["job_id"]}
    return content | {"manifest.json": json.dumps(said).encode()}


def changed_document(data: bytes, change) -> bytes:
    content = members(data)
    document = json.loads(content["job.json"])
    change(document)
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return pack(sealed(content | {"job.json": text.encode()}))


def refuse(store: JobStore, data: bytes, message: str) -> None:
    with pytest.raises(InputError, match=message):
        take_in(store, data)
    assert store.list_jobs() == ()
    assert store.check() == ()


def test_repacking_by_itself_is_no_offence(other, exported):
    """Or the tests below would pass for the wrong reason."""
    assert take_in(other, changed_document(exported, lambda _: None)).job_id == "job-1"


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "it cannot be unpacked"),
        (b"PK\x03\x04 and then nothing of the kind", "it cannot be unpacked"),
        (pack({"readme.txt": b"hello"}), "there is no manifest.json in it"),
        (pack({"manifest.json": b"{"}), "no sound archive"),
        (pack({"manifest.json": b"[]"}), "should be an object"),
        (pack({"manifest.json": b'{"format":"other"}'}), "it says that it is 'other'"),
        (
            pack({"manifest.json": b'{"format":"halfsplit job","schema":2}'}),
            "of schema 2, this program reads 1",
        ),
        (pack({"manifest.json": b'{"format":"halfsplit job","schema":1}'}), "no sound archive"),
        (pack({"manifest.json": b"[" * 100_000}), "no sound archive"),
    ],
)
def test_no_archive_of_a_job(other, data, message):
    refuse(other, data, message)


def test_cut_off_anywhere(other, exported):
    for length in range(0, len(exported), len(exported) // 40):
        refuse(other, exported[:length], "no sound archive")


def test_one_wrong_byte_anywhere(other, exported):
    """A flipped bit is found, or lies where a ZIP does not look: then the job arrives unharmed."""
    for position in range(0, len(exported), len(exported) // 60):
        data = bytearray(exported)
        data[position] ^= 0x10
        try:
            job_id = take_in(other, bytes(data), job_id=f"copy-{position}").job_id
        except InputError:
            continue
        assert other.evidence(job_id)[0].payload["value"] == 0.02
    assert other.check() == ()


@pytest.mark.parametrize(
    "name",
    ["../../etc/passwd", "/etc/passwd", "files/../../x", "files\\..\\x", "C:\\x", "job.json/", "files/x\0y"],
)
def test_names_that_lead_elsewhere(other, exported, name, tmp_path):
    before = sorted(path for path in tmp_path.rglob("*") if "other-files" not in path.parts)
    refuse(other, pack(members(exported) | {name: b"x"}), "not those of its manifest")
    content = members(exported) | {name: b"x"}
    manifest = json.loads(content["manifest.json"])
    manifest["files"].append({"path": name, "size": 1, "sha256": hashlib.sha256(b"x").hexdigest()})
    content["manifest.json"] = json.dumps(manifest).encode()
    refuse(other, pack(content), "no name of a file in it|not those of its manifest")
    assert sorted(path for path in tmp_path.rglob("*") if "other-files" not in path.parts) == before


def test_members_that_are_missing_or_there_twice(other, exported):
    content = members(exported)
    for name in content:
        less = {key: value for key, value in content.items() if key != name}
        refuse(other, pack(less), "no sound archive")
        refuse(other, pack(content, twice=name), "not those of its manifest")


@pytest.mark.parametrize("field", ["size", "sha256"])
def test_manifest_that_is_not_true(other, exported, field):
    content = members(exported)
    for number in range(len(content) - 1):
        manifest = json.loads(content["manifest.json"])
        wrong = {"size": manifest["files"][number]["size"] + 1, "sha256": "0" * 64}
        manifest["files"][number][field] = wrong[field]
        refuse(other, pack(content | {"manifest.json": json.dumps(manifest).encode()}), "no sound archive")


def test_counts_that_are_not_true(other, exported):
    content = members(exported)
    manifest = json.loads(content["manifest.json"])
    manifest["counts"]["evidence"] = 2
    refuse(other, pack(content | {"manifest.json": json.dumps(manifest).encode()}), "its manifest counts")


# Bombs


def test_a_compressed_attachment_is_refused(other, exported):
    content = members(exported)
    name = next(name for name in content if name.startswith("files/"))
    refuse(other, pack(content, compress=(name,)), "an attachment in it is compressed")


def test_a_document_that_unfolds_is_stopped_at_its_limit(other, exported, monkeypatch):
    """200 MB of blanks fold into 200 kB. The limit is lowered here so that the test need not make them."""
    monkeypatch.setattr(archive, "LARGEST_DOCUMENT", 3_000_000)
    content = members(exported)
    content["job.json"] += b" " * 5_000_000
    data = pack(sealed(content), compress=("job.json",))
    assert len(data) < 30_000
    refuse(other, data, "job.json is larger than 3,000,000 bytes")
    monkeypatch.setattr(archive, "LARGEST_MANIFEST", 10_000)
    content = members(exported)
    content["manifest.json"] += b" " * 50_000
    refuse(other, pack(content, compress=("manifest.json",)), "manifest.json is larger than 10,000 bytes")


def test_a_size_that_is_a_lie(other, exported):
    """The central directory says that a member is huge: nothing is believed beyond the archive's own length."""
    data = bytearray(exported)
    entry = data.rindex(
        b"PK\x01\x02"
    )  # the last member: an attachment; its size is at offset 24 (APPNOTE 4.3.12)
    data[entry + 20 : entry + 28] = struct.pack("<II", 0xFFFFFF00, 0xFFFFFF00)
    refuse(other, bytes(data), "no sound archive")


def test_members_that_lie_over_each_other(other, exported):
    """Two directory entries for the same bytes would multiply them: their sum is more than the archive."""
    big = JPEG + bytes(300_000)
    content = members(exported)
    content[f"files/{hashlib.sha256(big).hexdigest()}"] = big
    packed = pack(sealed(content))
    start = packed.index(b"PK\x01\x02")
    entry = packed.rindex(b"PK\x01\x02")
    end = packed.index(b"PK\x05\x06")
    doubled = packed[:end] + packed[entry:end] + packed[end:]
    count = struct.unpack_from("<H", packed, end + 10)[0] + 1
    fixed = bytearray(doubled)
    tail = end + (end - entry)
    struct.pack_into("<HHII", fixed, tail + 8, count, count, tail - start, start)
    refuse(other, bytes(fixed), "no sound archive")


def test_an_encrypted_archive(other, exported):
    data = bytearray(exported)
    for signature, offset in ((b"PK\x01\x02", 8), (b"PK\x03\x04", 6)):
        data[data.index(signature) + offset] |= 1
    refuse(other, bytes(data), "it cannot be unpacked")


def test_too_many_members(other, exported, monkeypatch):
    monkeypatch.setattr(archive, "MOST_FILES", 3)
    refuse(other, exported, "members, at most 3 are read")


# Documents that fit their manifest but not themselves


def _strike_later(document):
    document["evidence"][2]["strikes"] = "entry-9"


def _strike_without_reason(document):
    document["evidence"][2]["reason"] = " "


def _unknown_field(document):
    document["evidence"][0]["truth"] = True


def _half_an_entry(document):
    del document["evidence"][0]["present"]


def _wrong_word(document):
    document["evidence"][0]["present"] = "perhaps"


def _number_as_text(document):
    document["evidence"][0]["sequence"] = "9"


def _not_a_number(document):
    document["evidence"][0]["payload"]["value"] = float("nan")


def _id_twice(document):
    document["evidence"][1]["entry_id"] = "entry-1"


def _out_of_order(document):
    document["evidence"][:2] = document["evidence"][1::-1]


def _gap_in_the_changes(document):
    del document["changes"][2]


def _no_intake(document):
    document["intakes"] = []


def _version_left_out(document):
    document["circuits"][1]["version"] = 3


def _closed_without_closing(document):
    document["closings"] = []


def _attachment_that_is_not_there(document):
    document["evidence"][0]["attachments"] = ["photo-9"]


def _another_type(document):
    document["attachments"][0]["media_type"] = "text/html"


def _another_kind(document):
    document["attachments"][0]["kind"] = "scan"


def _path_as_hash(document):
    document["attachments"][0]["sha256"] = "../../x"


def _nul(document):
    document["evidence"][0]["who"] = "A\0da"


def _too_long(document):
    document["evidence"][0]["serial"] = "x" * 301


def _no_zone(document):
    document["evidence"][0]["at"] = "2026-03-02T08:00:00"


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (_strike_later, "strikes 'entry-9', which is not before it"),
        (_strike_without_reason, "half a strike-out"),
        (_unknown_field, "something that this release does not know"),
        (_half_an_entry, "something that this release does not know"),
        (_wrong_word, r"Input should be 'yes', 'no' or 'unknown', at evidence\.0\.present"),
        (_number_as_text, r"at evidence\.0\.sequence"),
        (_not_a_number, "JSON|sound archive"),
        (_id_twice, "'entry-1' is there 2 times among the evidence"),
        (_out_of_order, "is out of order"),
        (_gap_in_the_changes, "the changes do not count up from 1"),
        (_no_intake, "there is no intake"),
        (_version_left_out, "do not count up from 1"),
        (_closed_without_closing, "closed without a closing"),
        (_attachment_that_is_not_there, "shows attachment 'photo-9', which is not there"),
        (_another_type, "job.json says text/html"),
        (_another_kind, "this is image/jpeg, a scan is"),
        (_path_as_hash, "its attachments and its files differ"),
        (_nul, "who: holds a character that is no text"),
        (_too_long, "serial: 301 characters long"),
        (_no_zone, "has no time zone"),
    ],
)
def test_a_document_that_does_not_hold_together(other, exported, change, message):
    refuse(other, changed_document(exported, change), message)


def test_markup_in_every_text_stays_text(store, other):
    """Nothing here is interpreted: it comes out as it went in, for the pages to escape."""
    evil = "<svg onload=alert(1)><script>'\"; DROP TABLE evidence; -- ${{7*7}}\u202e"
    store.open_job("job-1", intake(evil), who=evil, at=NOW)
    entry = EvidenceEntry(entry_id=evil, kind=evil[:50], payload={evil: evil}, at=NOW, who=evil, serial=evil)
    store.record("job-1", entry)
    page = Attachment(attachment_id="a", kind="document", name=evil + "/../../x.html", at=NOW, who=evil)
    stored = store.attach("job-1", page, BytesIO(evil.encode()))
    assert stored.media_type == "text/plain"
    take_in(other, export(store))
    assert other.evidence("job-1") == store.evidence("job-1")
    assert other.evidence("job-1")[0].payload == {evil: evil}
