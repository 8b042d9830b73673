"""The address of a dask scheduler: whether one may be used, told before any work is done."""

from __future__ import annotations

import re
from importlib.util import find_spec

from refracmc.errors import Fault, InputError

from .executors import LOCAL

_ADDRESS = re.compile(r"^((tcp|tls|ws|wss)://)?([A-Za-z0-9_.-]+|\[[0-9A-Fa-f:.]+\]):[0-9]{1,5}$", re.ASCII)


def check_scheduler(address: str | None) -> None:
    """Raise InputError where dask is missing or the address is none, RunFailure where nobody answers there."""
    if address is None:
        return
    where = "--scheduler"
    if find_spec("distributed") is None:
        found = f"'{address}', but the package distributed is not installed"
        remedy = "install it: pip install -e '.[cluster]'; or leave --scheduler out"
        raise InputError(Fault(where, found, "a scheduler where the extra `cluster` is installed", remedy))
    if address == LOCAL:
        return
    if _ADDRESS.match(address) is None or not 0 < int(address.rpartition(":")[2]) <= 65_535:
        allowed = (
            "local, or host:port of a running scheduler, port 1 to 65535, tcp:// or tls:// before it at most"
        )
        raise InputError(Fault(where, f"'{address}'", allowed, "correct the address"))
    from .cluster import connected  # dask is there by now, and takes a second to load

    with connected(address, None):
        pass  # told before the fits, not after
