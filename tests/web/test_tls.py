"""Serving beyond this machine: over TLS, or in the clear only when somebody says so."""

import ipaddress
import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from tests.web.running import served
from tests.web.seed import OWNER, Bench
from tests.web.staff import WORD, field_of, staffed_server

from spinproof.model.errors import DocumentError, GateClosedError, SpinproofError
from spinproof.web.serving import names_of, serve
from spinproof.web.tls import Identity, identity_of

EVERYWHERE = "0.0.0.0"  # noqa: S104 - refused before anything is bound


def a_pair(folder: Path, name: str = "bench", passphrase: bytes | None = None) -> Identity:
    """Make a certificate for this machine's address, and its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    own = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "bench")])
    now = datetime.now(UTC)  # noqa: TID251 - TLS itself compares with the clock of the machine
    certificate = (
        x509.CertificateBuilder()
        .subject_name(own)
        .issuer_name(own)
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(hours=1))
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]),
            critical=False,
        )
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    locked = (
        serialization.BestAvailableEncryption(passphrase)
        if passphrase
        else serialization.NoEncryption()
    )
    pair = Identity(folder / f"{name}.pem", folder / f"{name}-key.pem")
    pair.certificate.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    pair.key.write_bytes(
        key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, locked)
    )
    return pair


@pytest.mark.parametrize("host", [EVERYWHERE, "::", "192.0.2.7", "bench.shop"])
def test_other_machines_are_not_served_in_the_clear(bench: Bench, host: str):
    with pytest.raises(GateClosedError, match="would cross the network in the clear") as caught:
        serve(bench.home, host=host, port=0)

    assert "--certificate" in caught.value.mend
    assert "--plain-http" in caught.value.mend


def test_what_was_asked_for_in_the_clear_still_needs_a_password_first(bench: Bench):
    with pytest.raises(GateClosedError, match="no owner has a password"):
        serve(bench.home, host=EVERYWHERE, port=0, plain=True)


def test_who_signs_in_over_tls_gets_a_cookie_for_this_host_and_tls_alone(tmp_path: Path):
    pair = a_pair(tmp_path)
    trusting = ssl.create_default_context(cafile=pair.certificate)
    with (
        staffed_server(tmp_path / "shop", identity=pair) as staff,
        httpx.Client(base_url=staff.address, verify=trusting) as browser,
    ):
        origin = staff.address.rstrip("/")
        page = browser.get("/sign-in")
        answer = browser.post(
            "/sign-in",
            data={
                "name": OWNER,
                "password": WORD,
                "form-token": field_of(page.text, "form-token"),
                "form-key": field_of(page.text, "form-key"),
            },
            headers={"origin": origin},
        )
        account = browser.get("/account")

    assert staff.address.startswith("https://127.0.0.1:")
    assert page.headers["strict-transport-security"] == "max-age=31536000"
    assert answer.status_code == 303, answer.text
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("__Host-spinproof-")
    assert {"Secure", "HttpOnly", "Path=/"} <= set(cookie.split("; "))
    assert OWNER in account.text


def test_who_asks_in_the_clear_or_with_an_old_tls_is_not_answered(bench: Bench, tmp_path: Path):
    pair = a_pair(tmp_path)
    old = ssl.create_default_context(cafile=pair.certificate)
    old.maximum_version = ssl.TLSVersion.TLSv1_2
    old.set_ciphers("AES128-SHA")
    with served(bench.home, identity=pair) as address:
        with pytest.raises(httpx.RemoteProtocolError):
            httpx.get(address.replace("https:", "http:"))
        with pytest.raises(httpx.ConnectError):
            httpx.get(address, verify=old)


def test_without_tls_no_browser_is_told_to_ask_for_it(client: httpx.Client):
    assert "strict-transport-security" not in client.get("/").headers


def spoiled(tmp_path: Path) -> dict[str, Identity]:
    one, other = a_pair(tmp_path), a_pair(tmp_path, "other")
    locked = a_pair(tmp_path, "locked", b"a word")
    noise = tmp_path / "noise.pem"
    noise.write_bytes(b"no certificate")
    return {
        "do not belong together": Identity(one.certificate, other.key),
        "are no certificate and private key": Identity(noise, one.key),
        "locked with a passphrase": locked,
        "no such file": Identity(one.certificate, tmp_path / "nowhere.pem"),
    }


@pytest.mark.parametrize(
    "said",
    [
        "do not belong together",
        "are no certificate and private key",
        "locked with a passphrase",
        "no such file",
    ],
)
def test_a_pair_that_cannot_be_used_is_refused_in_words(bench: Bench, tmp_path: Path, said: str):
    with pytest.raises(SpinproofError, match=said):
        serve(bench.home, port=0, identity=spoiled(tmp_path)[said])


def test_a_certificate_and_its_key_go_together(tmp_path: Path):
    assert identity_of(None, None) is None
    for pair in ((tmp_path, None), (None, tmp_path)):
        with pytest.raises(DocumentError, match="go together"):
            identity_of(*pair)


def test_the_address_that_is_listened_on_is_a_name_of_the_pages():
    assert names_of("localhost", ()) == ()
    assert names_of("fd00::7", ("bench.shop",)) == ("bench.shop", "[fd00::7]")
    assert names_of(EVERYWHERE, ()) == ()
