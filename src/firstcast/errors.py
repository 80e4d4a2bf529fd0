"""The error tree. Misuse raises; a fault of the sculpture is a finding (see `firstcast.findings`).

    FirstcastError
    ├── JobError        the job file: key, what is wrong, the mend
    ├── FileError       a file of the maker's: which, what is wrong, the mend
    ├── SizeError       too large for this machine, or out of any sensible range
    └── InputError      arrays or values a function can't take

Every message says what is wrong, where, and the mend.
"""


class FirstcastError(Exception):
    """Base of all errors that a person should read.

    Parameters
    ----------
    what : str
        What is wrong, with the numbers.
    where : str
        File, key, part or place.
    mend : str
        What to do about it.
    """

    def __init__(self, what: str, *, where: str, mend: str) -> None:
        self.what, self.where, self.mend = what, where, mend
        super().__init__(f"{where}: {what}. {mend}")


class JobError(FirstcastError):
    """The job file says something that can't be."""


class FileError(FirstcastError):
    """A file can't be read, or not as what it claims to be."""


class SizeError(FirstcastError):
    """The work would not fit this machine, or the size makes no sense."""


class InputError(FirstcastError):
    """A public function got arrays or values it can't take."""
