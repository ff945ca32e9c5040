"""Everything that can go wrong with the records, on one screen. Each message says what, where and what to do."""


class RecordsError(Exception):
    """Base of all errors of this room; its text is fit to be shown to a user."""


class StoreMissing(RecordsError):
    """There are no records at the place named."""


class StoreExists(RecordsError):
    """Records would have been written over."""


class StoreTooNew(RecordsError):
    """The records were written by a newer version of the program."""


class StoreDamaged(RecordsError):
    """The file, its key file or the chain of events is not as it was written."""


class StoreReadOnly(RecordsError):
    """The records can be read but not written."""


class StoreBusy(RecordsError):
    """Another program held the records for too long."""


class StoreUnreachable(RecordsError):
    """The database server did not answer, or refused."""


class DiskFull(RecordsError):
    """No room left; nothing was written."""


class WrongPassphrase(RecordsError):
    """The passphrase does not open the key file."""


class IdentityLocked(RecordsError):
    """The identity key has a passphrase of its own, and it was not given."""


class NotFound(RecordsError):
    """No such patient, case, event, image or user."""


class Erased(RecordsError):
    """The person's data was erased; only the tombstone is left."""


class BadEntry(RecordsError, ValueError):
    """What was to be recorded is not fit to be kept; nothing was written."""


class ArchiveDamaged(RecordsError):
    """An archive or a backup is not as it was written; nothing was changed."""


class NotAllowed(RecordsError):
    """The role of the signed-in user does not include this act."""


class SignInFailed(RecordsError):
    """Name, password or code was wrong; which of them is not said."""


class PasswordTemporary(RecordsError):
    """The password was given by somebody else: choose one of your own first."""


class TooManyTries(RecordsError):
    """Signing in is refused until some time has passed; `wait` seconds are left."""

    def __init__(self, message: str, wait: float) -> None:
        super().__init__(message)
        self.wait = wait


class SessionEnded(RecordsError):
    """The session is over; sign in again."""


class SessionLocked(RecordsError):
    """The session is locked after a pause; give the password to go on."""


class TooFew(RecordsError):
    """Too few cases for an honest figure; `have` and `need` say how many."""

    def __init__(self, message: str, have: int, need: int) -> None:
        super().__init__(message)
        self.have, self.need = have, need
