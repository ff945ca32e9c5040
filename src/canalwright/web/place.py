"""Where the page is served: this machine alone, or elsewhere too, then through TLS and with accounts only."""

import errno
import ipaddress
import socket
import ssl
from dataclasses import dataclass
from pathlib import Path

from canalwright.web.guard import NAMES

CIPHERS = "ECDHE+AESGCM:ECDHE+CHACHA20"


class PlaceError(ValueError):
    """The page cannot be served there as asked."""


@dataclass(frozen=True)
class Place:
    """Host and port, certificate and key (PEM files) where TLS is wanted. Raises PlaceError for what is not safe."""

    host: str = "127.0.0.1"
    port: int = 8765
    certificate: Path | None = None
    key: Path | None = None
    accounts: bool = False

    def __post_init__(self) -> None:
        if (self.certificate is None) != (self.key is None):
            raise PlaceError("TLS needs both: give --certificate and --key")
        if self.outside and not (self.certificate and self.accounts):
            raise PlaceError(
                f"{self.host} can be reached from other machines: that needs --records (accounts), --certificate and --key"
            )
        if self.certificate and self.key:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            try:
                context.load_cert_chain(self.certificate, self.key)
            except (OSError, ssl.SSLError) as error:
                raise PlaceError(
                    f"certificate {self.certificate} and key {self.key} cannot be used together ({error})"
                ) from None

    @property
    def outside(self) -> bool:
        """Whether other machines can reach it."""
        return not is_loopback(self.host)

    @property
    def names(self) -> frozenset[str]:
        """The names under which a browser may ask for the page: this machine's, the host's and the certificate's own."""
        own = set() if _anywhere(self.host) else {self.host.lower()}
        return NAMES | own | (_named(self.certificate) if self.certificate else set())

    @property
    def address(self) -> str:
        """Where to point a browser."""
        host = next(iter(sorted(self.names - NAMES)), self.host) if self.outside else self.host
        return f"{'https' if self.certificate else 'http'}://{f'[{host}]' if ':' in host else host}:{self.port}"

    def listen(self) -> socket.socket:
        """A socket that listens here, before anything is told of the address. Raises PlaceError where it cannot."""
        try:
            family, *_, where = socket.getaddrinfo(self.host, self.port, type=socket.SOCK_STREAM)[0]
            return socket.create_server(where[:2], family=family)
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                why = "is in use: stop what uses it, or choose another with --port"
            else:
                why = f"cannot be used ({error.strerror or error}): choose another with --port or --host"
            raise PlaceError(f"port {self.port} on {self.host} {why}") from None


def is_loopback(host: str) -> bool:
    """Whether an address or name is this machine's own, unreachable from elsewhere."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _anywhere(host: str) -> bool:
    """Whether a host stands for all addresses of this machine."""
    try:
        return ipaddress.ip_address(host).is_unspecified
    except ValueError:
        return False


def _named(certificate: Path) -> set[str]:
    from cryptography import x509

    found = x509.load_pem_x509_certificate(certificate.read_bytes())
    try:
        names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return set()
    return {
        *map(str.lower, names.get_values_for_type(x509.DNSName)),
        *map(str, names.get_values_for_type(x509.IPAddress)),
    }
