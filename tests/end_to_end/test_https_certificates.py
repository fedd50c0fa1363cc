"""The shipped way to HTTPS in a shed: what its authority vouches for, and what it cannot."""

import shutil
import ssl
import subprocess
from pathlib import Path

import pytest

from tests.fixtures.checkout import CHECKOUT

SCRIPT = CHECKOUT / "deploy" / "https" / "certificates.sh"
AUTHORITY = "drumkeep-web-ca.crt"


def openssl(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["openssl", *arguments], cwd=folder, capture_output=True, text=True, timeout=20, check=False
    )


def shakes_hands(folder: Path, name: str) -> bool:
    """Tell whether who trusts the authority alone takes the service at this name for itself."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(folder / "drumkeep-web.crt", folder / "drumkeep-web.key")
    client = ssl.create_default_context(cafile=str(folder / AUTHORITY))
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    asks = client.wrap_bio(to_client, to_server, server_hostname=name)
    answers = server.wrap_bio(to_server, to_client, server_side=True)
    done = {asks: False, answers: False}
    for _ in range(6):
        for side in done:
            try:
                side.do_handshake()
                done[side] = True
            except ssl.SSLWantReadError:
                continue
            except ssl.SSLCertVerificationError:
                return False
    return all(done.values())


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    if shutil.which("openssl") is None:
        pytest.skip("openssl is missing: on Debian, apt-get install openssl")
    folder = tmp_path_factory.mktemp("authority")
    told = subprocess.run(
        ["sh", str(SCRIPT), str(folder), "drums.example.com", "10.0.0.5"],
        capture_output=True,
        text=True,
        timeout=20,
        check=True,
    )
    assert "drumkeep-web.crt: OK" in told.stdout
    assert "ingerprint=" in told.stdout
    return folder


def test_pages_are_trusted_at_their_names_and_nowhere_else(made: Path):
    assert shakes_hands(made, "drums.example.com")
    assert shakes_hands(made, "10.0.0.5")
    assert not shakes_hands(made, "other.example.com")
    assert not shakes_hands(made, "10.0.0.6")


def test_whoever_has_the_authoritys_key_cannot_pose_as_another(made: Path):
    # RFC 5280, 4.2.1.10: a name outside of the permitted subtrees is refused.
    curve = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
    openssl(made, "req", *curve, "-subj", "/CN=b", "-keyout", "b.key", "-out", "b.csr")
    (made / "b.ext").write_text("subjectAltName=DNS:bank.example\n", "ascii")
    signing = ("-CA", AUTHORITY, "-CAkey", "drumkeep-web-ca.key", "-extfile", "b.ext")
    assert openssl(made, "x509", "-req", "-in", "b.csr", *signing, "-out", "b.crt").returncode == 0
    told = openssl(made, "verify", "-CAfile", AUTHORITY, "b.crt")
    assert told.returncode != 0
    assert "permitted subtree violation" in told.stdout + told.stderr


def test_renewing_keeps_the_authority_that_phones_trust(made: Path):
    before = (made / AUTHORITY).read_bytes(), (made / "drumkeep-web.crt").read_bytes()
    again = ["sh", str(SCRIPT), str(made), "drums.example.com", "10.0.0.5"]
    subprocess.run(again, capture_output=True, timeout=20, check=True)
    assert (made / AUTHORITY).read_bytes() == before[0]
    assert (made / "drumkeep-web.crt").read_bytes() != before[1]
    assert (made / "drumkeep-web-ca.key").stat().st_mode & 0o077 == 0
