"""The errors of Halfsplit: one base and a few kinds, each with the use that it is meant for.

A package may derive its own from these (`CircuitError` from `InputError`, say); none invents another base.
"""


class HalfsplitError(Exception):
    """Base of every error that Halfsplit raises on purpose.

    Catch it at the outer edge (a command, a page, an API call) to show the text without a traceback.
    Do not raise it itself: raise the kind that says what the caller can do.
    """


class InputError(HalfsplitError):
    """Something from outside is not usable: a file, a form field, an argument, a message on a wire.

    The text says what was found and what was expected; `remedy` says what to do; `where` names the file,
    line or field. Do not use it for a mistake in our own code (that is a `ValueError` or a `TypeError`),
    nor for an answer that is merely unwelcome: a singular circuit or a missing pulse is a stated status.

    >>> str(InputError("'12,3 V' has a decimal comma", remedy="write 12.3 V", where="line 4"))
    "line 4: '12,3 V' has a decimal comma: write 12.3 V"
    """

    def __init__(self, message: str, *, remedy: str = "", where: str = "") -> None:
        super().__init__(": ".join(text for text in (where, message, remedy) if text))
        self.message = message
        self.remedy = remedy
        self.where = where


class NotFoundError(HalfsplitError):
    """A name or number that someone asked for does not exist: a job, a reading, a part, a state, a fault.

    The text names what was asked for and, where the list is short, what there is. Do not use it for a file
    that cannot be opened or read (`InputError`).
    """


class ConflictError(HalfsplitError):
    """The request is sound in itself, but the job does not allow it now.

    Examples: a reading is struck twice, a closed job is measured, two tablets change the same thing.
    The text says what stands in the way and what would clear it. Do not use it for unusable input.
    """


class MissingProgramError(HalfsplitError):
    """An optional library or an outside program is not installed; the text says what to install.

    Do not use it for a required library: that one is imported at the top of the module and fails there.
    """


class StorageError(HalfsplitError):
    """The job store could not read or write: disk full, database gone, a newer version's file.

    Raised by `halfsplit.store` only. The text says whether anything was lost; if nothing was, it says so.
    """
