"""The encoding of a text that does not say it: a byte order mark, else UTF-8, else Windows' western one."""

import codecs
from typing import Final

from halfsplit.errors import InputError

MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def encoding_of(head: bytes) -> str:
    """The encoding of a text from its first bytes; a character that they cut is no error."""
    for mark, name in MARKS:
        if head.startswith(mark):
            return name
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def decoded(data: bytes, remedy: str, where: str = "") -> str:
    """The text in the bytes of the file `where`. Raises `InputError` with `remedy` where they are none."""
    encoding = encoding_of(data)
    if encoding != "utf-16" and b"\x00" in data:
        raise InputError("this is not text", remedy=remedy, where=where)
    return data.decode(encoding, errors="replace")
