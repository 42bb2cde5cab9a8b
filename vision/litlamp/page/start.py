"""Starting the page: where it can be reached, the token for visitors, and the sentence that says so."""

from __future__ import annotations

import secrets
import socket
import sys
from pathlib import Path

from litlamp.page.settings import Settings, default_data, is_loopback


class StartError(Exception):
    """The page cannot be started; the message is one sentence."""


def prepared(host: str, port: int, data: Path | None, workers: int, token: str | None = None) -> Settings:
    """Settings for these wishes; a host that others can reach gets a token.

    Raises
    ------
    StartError : the folder cannot be used, or the address cannot be bound.
    """
    folder = default_data() if data is None else data
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        said = (error.strerror or "unknown fault").lower()
        raise StartError(f"the folder {folder} cannot be made: {said}") from error
    _free(host, port)
    if not is_loopback(host):
        token = token or secrets.token_urlsafe(12)
    return Settings(folder, host, port, token, workers)


def _free(host: str, port: int) -> None:
    """Try to bind the address, so that what is wrong with it is said at once."""
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, kind, protocol) as trial:
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            trial.bind(address)
    except OSError as error:
        said = (error.strerror or "unknown fault").lower()
        raise StartError(
            f"the address {host}, port {port}, cannot be used: {said}; try another "
            f"{'--host' if isinstance(error, socket.gaierror) else '--port'}"
        ) from error


def invitation(settings: Settings) -> str:
    """What the terminal says once the page is there: where to open it, from here and from a phone."""
    if settings.token is None:
        return f"litlamp page: open http://{_in_url(settings.host)}:{settings.port}/ here; Ctrl+C ends it."
    hosts = [settings.host] if settings.host not in ("0.0.0.0", "::") else own_addresses()
    door = f"?token={settings.token}"
    lines = [
        "litlamp page: other computers can reach it; whoever has the token may use it.",
        f"  here:               http://localhost:{settings.port}/{door}"
        if settings.host in ("0.0.0.0", "::")
        else "",
    ]
    lines += [f"  phone, same network: http://{_in_url(host)}:{settings.port}/{door}" for host in hosts]
    if not hosts:
        lines.append(f"  phone, same network: http://ADDRESS:{settings.port}/{door}")
        lines.append("  where ADDRESS is this computer's, as its network settings show it.")
    lines.append("  Ctrl+C ends it. The connection is not encrypted: use a network that you trust.")
    return "\n".join(line for line in lines if line)


def _in_url(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def own_addresses() -> list[str]:
    """This computer's IPv4 addresses that others may reach, as far as it tells; nothing is sent."""
    found: list[str] = []
    if sys.platform == "linux":
        import fcntl
        import struct

        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            for _, name in socket.if_nameindex():
                asked = struct.pack("256s", name.encode()[:15])
                try:
                    answer = fcntl.ioctl(probe.fileno(), 0x8915, asked)  # SIOCGIFADDR, netdevice(7)
                except OSError:
                    continue
                found.append(socket.inet_ntoa(answer[20:24]))
    else:
        try:
            found = socket.gethostbyname_ex(socket.gethostname())[2]
        except OSError:
            found = []
    return [address for address in dict.fromkeys(found) if not is_loopback(address)]
