"""What an attachment's bytes are, by content and never by the file's name, and what is accepted as what.

Text of any sort is `text/plain`: HTML and SVG are never served as what a browser would run.
"""

from dataclasses import dataclass

from halfsplit.errors import InputError
from halfsplit.store.records import AttachmentKind

HEAD = 4096
TEXT = "text/plain"
JPEG, PNG, WEBP, HEIC, PDF = "image/jpeg", "image/png", "image/webp", "image/heic", "application/pdf"
WAV, MDF, ZIP, PARQUET = "audio/wav", "application/x-mdf", "application/zip", "application/vnd.apache.parquet"
BLF, MAT = "application/x-bus-log", "application/x-matlab-data"

# Offset, bytes, type. JPEG: ITU-T T.81 B.1.1; PNG: ISO/IEC 15948 5.2; WebP and WAV: RIFF; HEIC: ISO/IEC
# 23008-12; PDF: ISO 32000-1 7.5.2; MDF 4: ASAM MDF, identification block; ZIP (an NPZ is one): APPNOTE 4.3.7;
# Parquet: its format page; BLF (a bus log) as python-can reads it; MAT 5 to 7: its text header; HDF5 (MAT
# 7.3), which the reader refuses with the way out.
_SIGNATURES: tuple[tuple[int, bytes, str], ...] = (
    (0, b"\xff\xd8\xff", JPEG),
    (0, b"\x89PNG\r\n\x1a\n", PNG),
    (8, b"WEBP", WEBP),
    (8, b"WAVE", WAV),
    (4, b"ftyphei", HEIC),
    (4, b"ftypmif1", HEIC),
    (0, b"%PDF-", PDF),
    (0, b"MDF     ", MDF),
    (0, b"PK\x03\x04", ZIP),
    (0, b"PAR1", PARQUET),
    (0, b"LOGG", BLF),
    (0, b"MATLAB 5.0 MAT-file", MAT),
    (0, b"\x89HDF\r\n\x1a\n", MAT),
)

MEGABYTE = 1_000_000


@dataclass(frozen=True)
class Accepted:
    """The types and the size (bytes) that are accepted as one kind of attachment."""

    media_types: frozenset[str]
    largest: int


ACCEPTED: dict[AttachmentKind, Accepted] = {
    "photo": Accepted(frozenset({JPEG, PNG, WEBP, HEIC}), 30 * MEGABYTE),
    "document": Accepted(frozenset({PDF, JPEG, PNG, WEBP, HEIC, TEXT}), 50 * MEGABYTE),
    "capture": Accepted(frozenset({TEXT, WAV, MDF, ZIP, PARQUET, BLF, MAT}), 4_000 * MEGABYTE),
    "scan": Accepted(frozenset({TEXT, PDF}), 10 * MEGABYTE),
}


def media_type(head: bytes) -> str | None:
    """The type of a file by its first 4,096 bytes, None if it is none that we know.

    >>> media_type(b"%PDF-1.7 ..."), media_type(b"time;volts"), media_type(bytes(8))
    ('application/pdf', 'text/plain', None)
    """
    for offset, signature, name in _SIGNATURES:
        if head[offset : offset + len(signature)] == signature:
            return name
    # UTF-16 by its mark; UTF-8, or an older eight-bit code page: no control characters but line ends, tabs, form feeds
    marked = head[:2] in (b"\xff\xfe", b"\xfe\xff")
    return TEXT if marked or (head and all(byte >= 32 or byte in b"\t\n\r\f" for byte in head)) else None


def accepted(kind: AttachmentKind, name: str) -> Accepted:
    """What is accepted as this kind of attachment.

    Raises:
        InputError: there is no such kind.
    """
    if kind not in ACCEPTED:
        raise InputError(
            f"{kind!r} is no kind of attachment", remedy=f"choose {', '.join(ACCEPTED)}", where=name
        )
    return ACCEPTED[kind]


def check_content(kind: AttachmentKind, head: bytes, name: str) -> str:
    """The media type of a file that starts with `head` and is accepted as this kind.

    Raises:
        InputError: it is empty, or something else than what it should be.
    """
    if not head:
        raise InputError("the file is empty", remedy="choose another", where=name)
    sniffed = media_type(head)
    expected = accepted(kind, name).media_types
    if sniffed is None or sniffed not in expected:
        raise InputError(
            f"this is {sniffed or 'of no type known here'}, a {kind} is {' or '.join(sorted(expected))}",
            where=name,
        )
    return sniffed
