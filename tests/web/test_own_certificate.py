"""The certificate that `tipin serve --tls` makes: by the standard library's checks, openssl's and a browser's."""

import os
import re
import ssl
import stat
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from socket import create_connection

import pytest
from browser import PHONE
from cryptography import x509
from playwright.sync_api import Browser, expect
from serving import EXAMPLES, TIPINS_OWN
from web_page import browser, workshop_in

from configurator.web import own_certificate as made_here
from configurator.web.app import application
from configurator.web.guard import Address
from configurator.web.own_certificate import own_certificate

pytest_plugins = ["browser"]
SAYS = re.compile(r"tipin: https://127\.0\.0\.1:(\d+)")


@contextmanager
def served(place: Path, *words: str) -> Iterator[tuple[int, str]]:
    """`tipin serve --tls` with its data in a folder: its port, and the SHA-256 that it prints."""
    environment = {name: value for name, value in os.environ.items() if name not in TIPINS_OWN}
    command = [sys.executable, "-m", "configurator", "serve", str(EXAMPLES), "--tls", "--port", "0", *words]
    with subprocess.Popen(
        [*command, "--book", str(place / "book.sqlite")], env=environment | {"XDG_DATA_HOME": str(place)},
        stdout=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        try:
            assert process.stdout is not None
            said = [process.stdout.readline() for _ in range(5)]
            where = SAYS.match(said[0])
            assert where, said
            yield int(where[1]), "".join(said[2:4]).replace("\n", "").replace(" ", "")
        finally:
            process.terminate()
            process.wait(10)


def test_whoever_keeps_it_is_not_warned_and_what_is_printed_is_what_is_shown(tmp_path: Path) -> None:
    certificate = tmp_path / "tipin" / "page-certificate.crt"
    for _ in range(2):
        with served(tmp_path) as (port, printed):
            trusting = ssl.create_default_context(cafile=certificate)
            with (
                create_connection(("127.0.0.1", port), 10) as plain,
                trusting.wrap_socket(plain, server_hostname="127.0.0.1") as line,
            ):
                shown = line.getpeercert(binary_form=True)
            with create_connection(("127.0.0.1", port), 10) as plain, pytest.raises(ssl.SSLCertVerificationError):
                ssl.create_default_context().wrap_socket(plain, server_hostname="127.0.0.1")
        assert shown is not None
        assert printed.replace(":", "").lower() == sha256(shown).hexdigest()
    found = subprocess.run(["openssl", "verify", "-CAfile", certificate, certificate], capture_output=True, text=True)
    assert found.returncode == 0, found.stderr
    key = tmp_path / "tipin" / "page-key.pem"
    assert stat.S_IMODE(key.stat().st_mode) == 0o600


def test_it_is_kept_until_it_would_not_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = own_certificate(tmp_path, ["192.168.0.20"])
    assert first.made and not own_certificate(tmp_path, ["192.168.0.20"]).made
    assert own_certificate(tmp_path, []).fingerprint == first.fingerprint
    moved = own_certificate(tmp_path, ["192.168.0.21"])
    assert moved.made and moved.fingerprint != first.fingerprint
    monkeypatch.setattr(made_here, "LASTS_DAYS", made_here.RENEWED_BEFORE_DAYS - 1)
    (tmp_path / "page-key.pem").write_text("damaged")
    ending = own_certificate(tmp_path, ["192.168.0.21"])
    assert ending.made and own_certificate(tmp_path, ["192.168.0.21"]).made


def test_it_vouches_for_this_machine_alone(tmp_path: Path) -> None:
    files = own_certificate(tmp_path, ["192.168.0.20", "fd00::1"]).files
    signed = x509.load_pem_x509_certificate(files.certificate.read_bytes())
    limits = signed.extensions.get_extension_for_class(x509.NameConstraints)
    assert limits.critical and limits.value.permitted_subtrees is not None
    named = {str(one.value) for one in limits.value.permitted_subtrees}
    assert named == {"localhost", "127.0.0.1/32", "::1/128", "192.168.0.20/32", "fd00::1/128"}
    assert signed.not_valid_after_utc - datetime.now(UTC) < timedelta(days=825)


def test_the_page_shows_what_to_compare_and_gives_the_certificate(tmp_path: Path) -> None:
    workshop, own = workshop_in(tmp_path / "cars", "roadster"), own_certificate(tmp_path, [])
    client = browser(application(workshop, Address("127.0.0.1", 8463), own=own))
    assert own.fingerprint in client.get("/phone").text
    sent = client.get("/phone/certificate.crt")
    assert sent.content == own.files.certificate.read_bytes() and b"PRIVATE" not in sent.content
    plain = browser(application(workshop, Address("127.0.0.1", 8463)))
    assert "SHA-256" not in plain.get("/phone").text and plain.get("/phone/certificate.crt").status_code == 404


def test_a_browser_that_was_told_to_go_on_may_measure(chromium: Browser, tmp_path: Path) -> None:
    with served(tmp_path) as (port, _):
        context = chromium.new_context(ignore_https_errors=True, viewport={"width": PHONE, "height": 844})
        page = context.new_page()
        page.goto(f"https://127.0.0.1:{port}/car/roadster/measure")
        assert page.evaluate("window.isSecureContext")
        expect(page.get_by_role("button", name="Start the recording")).to_be_enabled()
        context.close()


def test_two_certificates_are_one_too_many(tmp_path: Path) -> None:
    files = own_certificate(tmp_path, []).files
    command = [sys.executable, "-m", "configurator", "serve", str(EXAMPLES), "--tls"]
    named = ["--tls-cert", str(files.certificate), "--tls-key", str(files.key)]
    found = subprocess.run([*command, *named], capture_output=True, text=True)
    assert found.returncode == 2 and "makes a certificate, and one is named as well" in found.stderr
