"""Which problem each of the program's own exceptions becomes over HTTP."""

from starlette.exceptions import HTTPException

from catalogue import EvidenceError
from service.measuring import PhotoFault
from service.options import OptionError
from service.problems import Problem
from service.workers import Busy, WorkerLost

PHOTO_PROBLEMS = {"unreadable": "not-an-image", "broken": "broken-image", "too-large": "too-large"}
STATUS_PROBLEMS = {404: "not-found", 405: "wrong-method", 413: "too-large"}
SEE = ["/api/health", "/api/catalogue", "/api/cases"]  # where a program that lost its way begins anew
RETRY_AFTER_S = 5


def problem_of(fault: Exception) -> Problem:
    """Return the problem that stands for ``fault``; what is not known here is a fault of the program."""
    match fault:
        case Problem():
            return fault
        case PhotoFault():
            return Problem(PHOTO_PROBLEMS[fault.kind], str(fault))
        case OptionError():
            return Problem("wrong-request", str(fault))
        case EvidenceError():
            return Problem("wrong-evidence", str(fault))
        case Busy():
            return _busy("Every bench and every place to wait is taken.")
        case WorkerLost():
            return _busy("The process that measured this photo was ended; a smaller copy may help.")
        case HTTPException():
            return _of_status(fault)
    return Problem("fault", "Something went wrong that is not your doing; the log of the service says what.")


def _busy(why: str) -> Problem:
    return Problem(
        "busy", f"{why} Send it again in {RETRY_AFTER_S} seconds.", headers={"Retry-After": str(RETRY_AFTER_S)}
    )


def _of_status(fault: HTTPException) -> Problem:
    kind = STATUS_PROBLEMS.get(fault.status_code, "wrong-request")
    details = {
        "not-found": "Nothing answers at this address. Check how it is written.",
        "wrong-method": "This address takes another method; the header Allow names it.",
    }
    more = {"see": SEE} if kind == "not-found" else None
    return Problem(kind, details.get(kind, f"{fault.detail}."), headers=dict(fault.headers or {}), more=more)


HANDLED: tuple[type[Exception], ...] = (
    Problem,
    PhotoFault,
    OptionError,
    EvidenceError,
    Busy,
    WorkerLost,
    HTTPException,
    Exception,
)
