"""A whole job as one file: a ZIP of `manifest.json`, `job.json` and the attachments as `files/SHA-256`.

The same job gives the same bytes. What comes in was written by others, so all of it is checked before any of
it is kept: names, sizes, counts, hashes, types, and that whatever refers to something finds it. Attachments
lie uncompressed in the archive, so that it cannot unfold into more than it is; the JSON may be compressed,
and its size is bounded.
"""

import hashlib
import shutil
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from io import SEEK_END
from typing import IO, Any

from pydantic import ValidationError

from halfsplit.errors import ConflictError, InputError
from halfsplit.store.columns import adapter, canonical_json, plain
from halfsplit.store.content import HEAD, check_content
from halfsplit.store.failures import translated
from halfsplit.store.records import Attachment, Job, JobFile
from halfsplit.store.store import JobStore

FORMAT = "halfsplit job"
SCHEMA = 1
LARGEST_MANIFEST = 10_000_000
LARGEST_DOCUMENT = 200_000_000
MOST_FILES = 10_000
_CHUNK = 1 << 20

_MANIFEST, _DOCUMENT, _FILES = "manifest.json", "job.json", "files/"


@dataclass(frozen=True)
class FileEntry:
    """What the manifest says of one file in the archive; `size` in bytes."""

    path: str
    size: int
    sha256: str


@dataclass(frozen=True)
class Manifest:
    """What the archive says of itself. `counts` has the length of each list in the document."""

    format: str
    schema: int
    job_id: str
    counts: dict[str, int]
    files: tuple[FileEntry, ...]


def export_job(store: JobStore, job_id: str, target: IO[bytes]) -> None:
    """Write a whole job, as it is at one moment, into `target`.

    Raises:
        NotFoundError: there is no such job.
        StorageError: an attachment's file is missing, or there is no room.
        ConflictError: the job is too large for one file.
    """
    job = store.whole_job(job_id)
    document = canonical_json(plain(JobFile, job)).encode()
    if len(document) > LARGEST_DOCUMENT:
        raise ConflictError(
            f"{len(document):,} bytes without attachments: one file takes {LARGEST_DOCUMENT:,}"
        )
    files = tuple(FileEntry(_FILES + file.sha256, file.size, file.sha256) for file in _contents(job))
    whole = FileEntry(_DOCUMENT, len(document), hashlib.sha256(document).hexdigest())
    manifest = Manifest(FORMAT, SCHEMA, job_id, _counts(job), (whole, *files))
    with translated(), zipfile.ZipFile(target, "w") as archive:
        archive.writestr(_member(_MANIFEST), canonical_json(asdict(manifest)), zipfile.ZIP_DEFLATED)
        archive.writestr(_member(_DOCUMENT), document, zipfile.ZIP_DEFLATED)
        for file in files:
            with (
                store.files.open(file.sha256) as source,
                archive.open(_member(file.path), "w", force_zip64=True) as member,
            ):
                shutil.copyfileobj(source, member, _CHUNK)


def _contents(job: JobFile) -> list[Attachment]:
    """One attachment for each different content, in the order of the hashes."""
    by_hash = {attachment.sha256: attachment for attachment in job.attachments}
    return [by_hash[sha256] for sha256 in sorted(by_hash)]


def _counts(job: JobFile) -> dict[str, int]:
    lists = {field.name: getattr(job, field.name) for field in fields(job)}
    return {name: len(value) for name, value in lists.items() if isinstance(value, tuple)}


def _member(name: str) -> zipfile.ZipInfo:
    """A member without a date and without the machine's kind: the earliest that a ZIP can say, and 'Unix'."""
    member = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
    member.create_system = 3
    member.external_attr = 0o600 << 16
    return member


def import_job(
    store: JobStore, source: IO[bytes], *, who: str, at: datetime, job_id: str | None = None
) -> Job:
    """Read an archive into the store: the job keeps its id, or takes `job_id`, and gets a number of its own.

    Raises:
        InputError: the file is no archive of a job, is damaged, or holds what it should not; nothing was
        imported. ConflictError: the job is in the store already.
    """
    with _readable(), zipfile.ZipFile(source) as archive:
        manifest = _read_manifest(archive)
        _check_members(archive, manifest, source.seek(0, SEEK_END))
        job = _read_document(archive, manifest)
        _check_files(archive, manifest, job)
        for attachment in _contents(job):
            with archive.open(_FILES + attachment.sha256) as member:
                store.files.put(member, attachment.kind, attachment.name)
    return store.add_whole_job(job, job_id=job_id or job.job_id, who=who, at=at)


@contextmanager
def _readable() -> Iterator[None]:
    """What the libraries say of a file that they cannot make sense of, in our words."""
    try:
        yield
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        raise _bad(f"{first['msg']}, at {'.'.join(map(str, first['loc'])) or 'the start'}") from error
    except (
        zipfile.BadZipFile,
        zlib.error,
        struct.error,
        EOFError,
        NotImplementedError,
        RuntimeError,
        ValueError,
    ) as error:
        raise _bad(f"it cannot be unpacked ({error})") from error


def _bad(what: str) -> InputError:
    return InputError(
        f"this is no sound archive of a job: {what}", remedy="export the job again; nothing was imported"
    )


def _read_manifest(archive: zipfile.ZipFile) -> Manifest:
    if _MANIFEST not in archive.namelist():
        raise _bad(f"there is no {_MANIFEST} in it")
    data = _read_json(archive, _MANIFEST, LARGEST_MANIFEST)
    said = adapter(dict[str, Any]).validate_json(data)
    if said.get("format") != FORMAT:
        raise _bad(f"it says that it is {said.get('format')!r}, expected {FORMAT!r}")
    if said.get("schema") != SCHEMA:
        raise _bad(
            f"it is of schema {said.get('schema')!r}, this program reads {SCHEMA}: is it a later release's?"
        )
    manifest: Manifest = adapter(Manifest).validate_json(data, strict=True)
    return manifest


def _read_json(archive: zipfile.ZipFile, name: str, limit: int) -> bytes:
    """A member of at most `limit` bytes, whatever it says of itself."""
    with archive.open(name) as member:
        data = member.read(limit + 1)
    if len(data) > limit:
        raise _bad(f"{name} is larger than {limit:,} bytes")
    return data


def _check_members(archive: zipfile.ZipFile, manifest: Manifest, length: int) -> None:
    """The archive holds just what its manifest says, and nothing that could unfold."""
    members = archive.infolist()
    expected = {_MANIFEST, *(file.path for file in manifest.files)}
    names = [member.filename for member in members]
    if sorted(names) != sorted(expected) or len(manifest.files) != len(expected) - 1:
        strange = sorted(set(names) ^ expected) or names
        raise _bad(f"its members are not those of its manifest (first difference: {strange[0][:80]!r})")
    if len(members) > MOST_FILES:
        raise _bad(f"it has {len(members):,} members, at most {MOST_FILES:,} are read")
    for file in manifest.files:
        if file.path not in (_DOCUMENT, _FILES + file.sha256):
            raise _bad(f"{file.path[:80]!r} is no name of a file in it")
    stored = [member for member in members if member.filename.startswith(_FILES)]
    if any(member.compress_type != zipfile.ZIP_STORED for member in stored):
        raise _bad("an attachment in it is compressed")
    if sum(member.file_size for member in stored) > length:
        raise _bad("its attachments are larger than the archive itself")


def _read_document(archive: zipfile.ZipFile, manifest: Manifest) -> JobFile:
    if _DOCUMENT not in archive.namelist():
        raise _bad(f"there is no {_DOCUMENT} in it")
    data = _read_json(archive, _DOCUMENT, LARGEST_DOCUMENT)
    job: JobFile = adapter(JobFile).validate_json(data, strict=True)
    # Written back it must be the same: so nothing in it was passed over, doubled or left out.
    if canonical_json(plain(JobFile, job)).encode() != data:
        raise _bad(f"{_DOCUMENT} holds something that this release does not know")
    if (job.job_id, _counts(job)) != (manifest.job_id, manifest.counts):
        raise _bad(f"its manifest counts {manifest.counts}, {_DOCUMENT} holds {_counts(job)}")
    return job


def _check_files(archive: zipfile.ZipFile, manifest: Manifest, job: JobFile) -> None:
    said = {file.path: (file.size, file.sha256) for file in manifest.files}
    for path, expected in said.items():
        with archive.open(path) as member:
            digest = hashlib.file_digest(member, "sha256").hexdigest()  # type: ignore[arg-type]
        actual = (archive.getinfo(path).file_size, digest)
        if actual != expected:
            raise _bad(
                f"{path} has {actual[0]:,} bytes with SHA-256 {actual[1]}, "
                f"its manifest says {expected[0]:,} bytes with {expected[1]}"
            )
    needed = {_FILES + attachment.sha256 for attachment in job.attachments}
    files = said.keys() - {_DOCUMENT}
    if needed != files:
        raise _bad(f"its attachments and its files differ (first difference: {min(needed ^ files)[:80]!r})")
    for attachment in job.attachments:
        path = _FILES + attachment.sha256
        with archive.open(path) as member:
            media_type, size = (
                check_content(attachment.kind, member.read(HEAD), attachment.name),
                said[path][0],
            )
        if (size, media_type) != (attachment.size, attachment.media_type):
            raise _bad(
                f"{path} is {media_type} of {size:,} bytes, "
                f"{_DOCUMENT} says {attachment.media_type} of {attachment.size:,}"
            )
