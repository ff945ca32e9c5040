"""Who reads the page, where records are open and somebody signed in; an empty name everywhere else."""

from contextvars import ContextVar

_NAME: ContextVar[str] = ContextVar("reader", default="")


def reader() -> str:
    """The name of the signed-in user behind this request."""
    return _NAME.get()


def reads(name: str) -> None:
    """Say who is behind what follows in this context (a request, or the socket of one window)."""
    _NAME.set(name)
