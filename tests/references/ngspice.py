"""ngspice as an outside reference: held in memory through libngspice, or one process for each deck.

Pitfalls that this file knows: a batch run exits 1 on success unless `quit 0` stands at its end; in memory, errors come
through the output callback only; `ngGet_Vec_Info` looks a name up among all names, so values are taken from the
callback that ngspice makes at each solved point.
"""

import ctypes
import ctypes.util
import functools
import subprocess
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray


class NgspiceError(RuntimeError):
    """What ngspice had to say against a deck."""


class _Value(ctypes.Structure):
    _fields_ = (
        ("name", ctypes.c_char_p),
        ("creal", ctypes.c_double),
        ("cimag", ctypes.c_double),
        ("is_scale", ctypes.c_bool),
        ("is_complex", ctypes.c_bool),
    )


class _Values(ctypes.Structure):
    _fields_ = (
        ("count", ctypes.c_int),
        ("index", ctypes.c_int),
        ("rows", ctypes.POINTER(ctypes.POINTER(_Value))),
    )


class _Info(ctypes.Structure):
    _fields_ = (
        ("number", ctypes.c_int),
        ("name", ctypes.c_char_p),
        ("is_real", ctypes.c_bool),
        ("pdvec", ctypes.c_void_p),
        ("pdvecscale", ctypes.c_void_p),
    )


class _Infos(ctypes.Structure):
    _fields_ = (
        ("name", ctypes.c_char_p),
        ("title", ctypes.c_char_p),
        ("date", ctypes.c_char_p),
        ("type", ctypes.c_char_p),
        ("count", ctypes.c_int),
        ("rows", ctypes.POINTER(ctypes.POINTER(_Info))),
    )


_TEXT = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p)
_EXIT = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.c_int, ctypes.c_bool, ctypes.c_bool, ctypes.c_int, ctypes.c_void_p
)
_DATA = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.POINTER(_Values), ctypes.c_int, ctypes.c_int, ctypes.c_void_p)
_START = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.POINTER(_Infos), ctypes.c_int, ctypes.c_void_p)
_THREAD = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_bool, ctypes.c_int, ctypes.c_void_p)


class Memory:
    """The one libngspice of this process, with at most one deck loaded."""

    def __init__(self) -> None:
        self._library = ctypes.CDLL(ctypes.util.find_library("ngspice") or "libngspice.so.0")
        self._said: list[str] = []
        self.names: tuple[str, ...] = ()
        self.values: NDArray[np.float64] = np.zeros(0)
        self._callbacks = (
            _TEXT(self._text),
            _TEXT(self._ignored),
            _EXIT(self._exit),
            _DATA(self._data),
            _START(self._start),
            _THREAD(self._thread),
        )
        self._library.ngSpice_Init(*self._callbacks, None)
        for command in ("set ngbehavior=ps", "set noaskquit", "unset interp"):
            self.command(command)

    def _text(self, text: bytes, *_: object) -> int:
        self._said.append(text.decode(errors="replace"))
        return 0

    def _ignored(self, *_: object) -> int:
        return 0

    def _exit(self, status: int, *_: object) -> int:
        self._said.append(f"stderr Error: ngspice wants to exit with {status}")
        return 0

    def _thread(self, *_: object) -> int:
        return 0

    def _start(self, infos: "ctypes._Pointer[_Infos]", *_: object) -> int:
        whole = infos.contents
        if whole.count != len(self.names):
            self.names = tuple(whole.rows[row].contents.name.decode() for row in range(whole.count))
        return 0

    def _data(self, values: "ctypes._Pointer[_Values]", *_: object) -> int:
        whole = values.contents
        addresses = np.ctypeslib.as_array(
            ctypes.cast(whole.rows, ctypes.POINTER(ctypes.c_uint64)), (whole.count,)
        ).astype(np.int64)
        first = int(addresses.min())
        span = (int(addresses.max()) - first) // 8 + 2
        if span < 1 << 20:  # the values lie in one stretch of the heap: take it in one piece
            heap = np.ctypeslib.as_array(ctypes.cast(first, ctypes.POINTER(ctypes.c_double)), (span,))
            self.values = heap[(addresses - first) // 8 + 1].copy()
        else:
            self.values = np.array([whole.rows[row].contents.creal for row in range(whole.count)])
        return 0

    def command(self, text: str) -> None:
        """Give one command; raise NgspiceError with what ngspice said if it complains."""
        self._said.clear()
        status = self._library.ngSpice_Command(text.encode())
        wrong = [line for line in self._said if "rror" in line or "singular" in line]
        if status or wrong:
            raise NgspiceError(f"{text}: {' | '.join(wrong or self._said)}")

    def load(self, lines: Sequence[str]) -> None:
        """Load a deck: title first, `.end` last."""
        self._said.clear()
        self.names = ()
        encoded = (ctypes.c_char_p * (len(lines) + 1))(*(line.encode() for line in lines), None)
        status = self._library.ngSpice_Circ(encoded)
        wrong = [line for line in self._said if "rror" in line]
        if status or wrong:
            raise NgspiceError(" | ".join(wrong or self._said))

    def operate(self) -> NDArray[np.float64]:
        """Solve the operating point; the values of `names` (known from then on), in that order."""
        self.command("op")
        self.command("destroy all")
        return self.values

    def operating_point(self) -> dict[str, float]:
        """The same by name."""
        values = self.operate().tolist()
        return dict(zip(self.names, values, strict=True))


@functools.cache
def memory() -> Memory:
    """libngspice, loaded once."""
    return Memory()


def alter(values: Mapping[str, float]) -> Iterable[str]:
    """The commands that give elements of the loaded deck new values (`r1`, `v3`, `i2`; `g4` is its gain)."""
    for name, value in values.items():
        yield f"alter {name} {value:.17g}" if name[0] != "g" else f"alter @{name}[gain] = {value:.17g}"


def batch(lines: Sequence[str], prints: Sequence[str]) -> dict[str, float]:
    """Run one deck in a process of its own and read what it prints."""
    control = [".control", "set numdgt=12", "op", *(f"print {name}" for name in prints), "quit 0", ".endc"]
    with tempfile.TemporaryDirectory() as folder:
        deck = Path(folder) / "deck.cir"
        deck.write_text("\n".join([*lines[:-1], *control, lines[-1], ""]))
        done = subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, text=True, check=False)
    if done.returncode or "rror" in done.stderr:
        raise NgspiceError(done.stderr or done.stdout)
    found = {}
    for line in done.stdout.splitlines():
        name, equals, value = line.partition(" = ")
        if equals and name.strip() in prints:
            found[name.strip()] = float(value)
    return found
