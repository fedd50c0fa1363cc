"""An encrypted line to the broker."""

import ssl
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Tls:
    """PEM files for an encrypted line.

    Attributes
    ----------
    ca
        Who signed the broker's certificate; None for those that the system trusts.
    certificate, key
        The gateway's own, or None.
    """

    ca: Path | None = None
    certificate: Path | None = None
    key: Path | None = None


def tls_context(tls: Tls) -> ssl.SSLContext:
    """Return what an encrypted line needs: TLS 1.2 or newer, names checked always.

    Raises
    ------
    OSError
        A file cannot be read, or is no certificate or key (``ssl.SSLError``).
    """
    context = ssl.create_default_context(cafile=tls.ca)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    if tls.certificate is not None:
        context.load_cert_chain(tls.certificate, tls.key)
    return context
