"""What a run of the service is told from outside: addresses, limits, folders. Nothing is read at import."""

import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import platformdirs

MIB = 2**20
MAX_PORT = 65535


@dataclass(frozen=True)
class Settings:
    """One run's settings.

    Attributes
    ----------
    host, port : str, int
        Where it listens; port 0 takes a free one.
    token : str, optional
        What a visitor must bring; needed wherever ``host`` is not loopback.
    catalogue : Path, optional
        Folder of the catalogue's CSV files; the demo catalogue where not given.
    assumptions : Path, optional
        TOML file of assumptions that differ from the catalogue's own.
    data : Path
        Folder for the cases where ``database_url`` is not given; made when first needed.
    database_url : str, optional
        SQLAlchemy's form; SQLite in ``data`` where not given.
    workers, queue : int
        Processes that measure, and how many photos may wait for one before the service says it is busy.
    max_upload_bytes : int
        Larger uploads are turned away before they are read.
    """

    host: str = "127.0.0.1"
    port: int = 8000
    token: str | None = None
    catalogue: Path | None = None
    assumptions: Path | None = None
    data: Path = field(default_factory=lambda: platformdirs.user_data_path("whichrotor"))
    database_url: str | None = None
    workers: int = 2
    queue: int = 8
    max_upload_bytes: int = 40 * MIB

    def __post_init__(self) -> None:
        if not 0 <= self.port <= MAX_PORT:
            raise ValueError(f"port must lie between 0 and {MAX_PORT}, not {self.port}")
        if self.workers < 1 or self.queue < 0:
            raise ValueError(f"workers must be 1 or more and queue 0 or more, not {self.workers} and {self.queue}")
        if not self.token and not self.is_loopback:
            raise ValueError(
                f"host {self.host} can be reached from other machines, which needs a token: "
                "use --lan, which makes one, or set WHICHROTOR_TOKEN"
            )

    @property
    def is_loopback(self) -> bool:
        """Whether only this machine can reach ``host``."""
        try:
            return ipaddress.ip_address(self.host).is_loopback
        except ValueError:
            return self.host == "localhost"

    @property
    def cases_url(self) -> str:
        """The database of the cases, in SQLAlchemy's form."""
        return self.database_url or f"sqlite:///{self.data / 'cases.sqlite'}"


_VARIABLES = {
    "WHICHROTOR_TOKEN": ("token", str),
    "WHICHROTOR_CATALOGUE": ("catalogue", Path),
    "WHICHROTOR_ASSUMPTIONS": ("assumptions", Path),
    "WHICHROTOR_DATA": ("data", Path),
    "WHICHROTOR_DATABASE_URL": ("database_url", str),
    "WHICHROTOR_WORKERS": ("workers", int),
    "WHICHROTOR_QUEUE": ("queue", int),
}


def settings_from(environ: Mapping[str, str], **told: object) -> Settings:
    """Return the settings of ``environ``, overruled by what was ``told`` and is not None.

    Raises
    ------
    ValueError
        For a variable that is not of its kind, and for an open address without a token.
    """
    read: dict[str, object] = {}
    for variable, (name, kind) in _VARIABLES.items():
        if environ.get(variable):
            try:
                read[name] = kind(environ[variable])
            except ValueError:
                raise ValueError(f"{variable} must be a whole number, not {environ[variable]!r}") from None
    read |= {name: value for name, value in told.items() if value is not None}
    host = read.pop("host", Settings.host)
    base = Settings(token=str(read.get("token") or "") or None, host=str(host))
    return replace(base, **read)  # type: ignore[arg-type]
