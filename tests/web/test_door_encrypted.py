"""The way over the network is encrypted, by a key of this machine that telephones come to know."""

from __future__ import annotations

import datetime
import http.client
import os
import re
import shutil
import signal
import socket
import ssl
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from playwright.sync_api import expect
from tests.cli.calling import call
from tests.web.conftest import CHROMIUM_ARGS, HOST, client_of, demo_into, desk_of_client
from tests.web.outside import Outside, open_pages, outside
from tests.web.test_door_weather import LAPTOP, PHONE, STRANGER, half_requests

from linkwright.door.awake import Gaps, awake
from linkwright.door.certificate import Certificate, certificate_of, pin
from linkwright.door.lan import Lan, lan_addresses
from linkwright.shoot.errors import InputError
from linkwright.store import Store

NOW = datetime.datetime(2027, 5, 14, 8, tzinfo=datetime.UTC)
STATIC = Path(__file__).parents[2] / "src" / "linkwright" / "web" / "static"


def names(made: Certificate) -> set[str]:
    found = x509.load_pem_x509_certificate(made.file.read_bytes())
    return {str(one.value) for one in found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value}


def test_the_key_is_made_once_and_read_by_nobody_else(tmp_path: Path) -> None:
    first = certificate_of(tmp_path / "door", ["192.0.2.9"], NOW)
    assert first.made
    assert stat.S_IMODE(first.key_file.stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "door").stat().st_mode) == 0o700
    first.key_file.chmod(0o644)  # as a copy from a stick leaves it
    again = certificate_of(tmp_path / "door", ["192.0.2.9"], NOW)
    assert not again.made
    assert (again.sha256, again.key_sha256) == (first.sha256, first.key_sha256)
    assert stat.S_IMODE(first.key_file.stat().st_mode) == 0o600


def test_another_address_is_another_certificate_of_the_same_key_and_the_way_back_is_none(tmp_path: Path) -> None:
    first = certificate_of(tmp_path, ["192.0.2.9", "quay.local"], NOW)
    second = certificate_of(tmp_path, ["198.51.100.4"], NOW)
    assert second.made
    assert second.key_sha256 == first.key_sha256
    assert names(second) == {"192.0.2.9", "quay.local", "198.51.100.4"}
    assert not certificate_of(tmp_path, ["192.0.2.9"], NOW).made
    for n in range(40):
        last = certificate_of(tmp_path, [f"198.51.100.{n}"], NOW)
    assert len(names(last)) < 30


def test_it_is_made_anew_before_it_ends(tmp_path: Path) -> None:
    first = certificate_of(tmp_path, ["192.0.2.9"], NOW)
    later = NOW + datetime.timedelta(days=380)
    second = certificate_of(tmp_path, ["192.0.2.9"], later)
    assert second.made
    assert second.key_sha256 == first.key_sha256
    found = x509.load_pem_x509_certificate(second.file.read_bytes())
    assert found.not_valid_before_utc < later < found.not_valid_after_utc
    assert found.not_valid_after_utc - found.not_valid_before_utc <= datetime.timedelta(days=398)


@pytest.mark.parametrize("data", [b"", b"-----BEGIN nothing", b"\0" * 99])
def test_a_damaged_key_is_one_sentence_and_a_damaged_certificate_is_made_anew(tmp_path: Path, data: bytes) -> None:
    first = certificate_of(tmp_path, ["192.0.2.9"], NOW)
    first.file.write_bytes(data)
    assert certificate_of(tmp_path, ["192.0.2.9"], NOW).key_sha256 == first.key_sha256
    first.key_file.write_bytes(data)
    with pytest.raises(InputError, match="is no key of this program; move it away"):
        certificate_of(tmp_path, ["192.0.2.9"], NOW)


def test_the_pages_follow_the_laptop_to_another_address(tmp_path: Path) -> None:
    there = ["192.0.2.9"]
    lan = Lan.at({"127.0.0.1:8037"}, 8037, tmp_path, lambda: there)
    context, first = lan.tls, lan.certificate
    assert first is not None
    assert not lan.look()
    there[:] = ["198.51.100.4"]
    assert lan.look()
    assert lan.tls is context, "so that the door need not be opened anew"
    assert lan.certificate is not None
    assert lan.certificate.key_sha256 == first.key_sha256
    assert "198.51.100.4:8037" in lan.hosts
    assert lan.urls[0] == "https://198.51.100.4:8037"


def test_the_open_door_follows_too(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("linkwright.web.serving.LOOK_TICKS", 1)
    with open_pages(store, tmp_path / "door", "192.0.2.9") as (_, lan):
        first = lan.fingerprints()
        lan.addresses = lambda: ["198.51.100.4"]
        while lan.urls[0] != f"https://198.51.100.4:{lan.port}":
            time.sleep(0.01)
        known = ssl.create_default_context(cafile=str(tmp_path / "door" / "certificate.pem"))
        sock = socket.create_connection(("127.0.0.1", lan.port), 60, (PHONE, 0))
        with known.wrap_socket(sock, server_hostname="198.51.100.4") as spoken:
            assert spoken.version() in ("TLSv1.2", "TLSv1.3")
        assert lan.fingerprints()[0] == first[0]
        assert lan.fingerprints()[1] != first[1]


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Outside, ssl.SSLContext]]:
    """`serve --lan`, and what a client that knows its certificate makes of it."""
    folder = tmp_path_factory.mktemp("tls")
    fake = folder / "bin" / "systemd-inhibit"  # a system that lets sleep be held off, and writes down what for
    fake.parent.mkdir()
    fake.write_text(f'#!/bin/sh\necho "$@" >{folder}/asked\nwhile [ "$1" != sh ]; do shift; done\nexec "$@"\n')
    fake.chmod(0o755)
    env = {"PATH": f"{fake.parent}:{os.environ['PATH']}"}
    with outside(folder, "--lan", env=env) as running:
        known = ssl.create_default_context(cafile=str(folder / "data" / "linkwright" / "door" / "certificate.pem"))
        yield running, known


def test_the_network_is_spoken_to_encrypted_and_this_machine_plainly(house: tuple[Outside, ssl.SSLContext]) -> None:
    running, known = house
    assert "On the network: https://" in running.said
    token = running.key()
    bearer = {"Authorization": f"Bearer {token}"}
    assert running.ask(PHONE, "GET", "/plan", headers=bearer, tls=known)[0] == 200
    assert running.ask(LAPTOP, "GET", "/plan")[0] == 200
    with pytest.raises((OSError, http.client.HTTPException)):
        running.ask(PHONE, "GET", "/plan", headers=bearer)
    unknown = ssl.create_default_context()
    with pytest.raises(ssl.SSLCertVerificationError, match="self-signed"):
        running.ask(PHONE, "GET", "/plan", tls=unknown)
    old = ssl.create_default_context(cafile=None)
    old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
    old.set_ciphers("DEFAULT:@SECLEVEL=0")
    with pytest.warns(DeprecationWarning, match="TLSv1_1"):
        old.minimum_version = old.maximum_version = ssl.TLSVersion.TLSv1_1
    with pytest.raises((ssl.SSLError, OSError)):
        running.ask(PHONE, "GET", "/plan", tls=old)


def test_a_program_that_sends_readings_trusts_the_certificate_that_connect_hands_out(
    house: tuple[Outside, ssl.SSLContext],
) -> None:
    running, _ = house
    status, _, text = running.ask(LAPTOP, "GET", "/connect/certificate.pem")
    assert status == 200
    handed = ssl.create_default_context(cadata=text)
    headers = {"Authorization": f"Bearer {running.key()}", "Content-Type": "application/json"}
    answered = running.ask(PHONE, "POST", "/log/readings", "[]", headers, tls=handed)
    assert answered[0] == 200
    assert running.ask(PHONE, "GET", "/connect/certificate.pem", headers=headers, tls=handed)[0] == 403


def test_eleven_hundred_half_handshakes_keep_nobody_out(house: tuple[Outside, ssl.SSLContext]) -> None:
    running, known = house
    bearer = {"Authorization": f"Bearer {running.key()}"}
    held = half_requests(running, STRANGER, 300)  # no TLS is spoken in these: they end at once
    for _ in range(800):
        sock = running.connect(STRANGER)
        held.append(sock)  # and nothing at all is said in these
    try:
        assert running.ask(PHONE, "GET", "/plan", headers=bearer, tls=known)[0] == 200
        assert running.ask(LAPTOP, "GET", "/plan")[0] == 200
    finally:
        for sock in held:
            sock.close()
    assert running.errors.stat().st_size < 20_000


def test_where_the_system_does_not_let_it_nothing_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with awake() as held:
        assert not held
    refusing = tmp_path / "systemd-inhibit"
    refusing.write_text("#!/bin/sh\nexit 1\n")
    refusing.chmod(0o755)
    with awake() as held:
        assert not held


def test_the_terminal_says_that_sleep_is_held_off(house: tuple[Outside, ssl.SSLContext]) -> None:
    running, _ = house
    asked = (running.errors.parent / "asked").read_text()
    assert "--what=sleep:idle" in asked
    assert running.process.stdout is not None
    assert running.process.stdout.readline() == "This laptop does not go to sleep by itself meanwhile.\n"


def test_what_holds_off_sleep_ends_with_a_killed_program(tmp_path: Path) -> None:
    code = "import time; from linkwright.door.awake import awake\n"
    code += "with awake() as held: print(held, flush=True); time.sleep(60)"
    fake = tmp_path / "systemd-inhibit"
    fake.write_text(f'#!/bin/sh\nwhile [ "$1" != sh ]; do shift; done\n"$@"\necho over >{tmp_path}/over\n')
    fake.chmod(0o755)
    env = {**os.environ, "PATH": f"{tmp_path}:{os.environ['PATH']}"}
    process = subprocess.Popen([sys.executable, "-c", code], env=env, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "True\n"
    process.send_signal(signal.SIGKILL)
    process.communicate()
    for _ in range(600):
        if (tmp_path / "over").exists():
            break
        time.sleep(0.05)
    assert (tmp_path / "over").exists()


def test_a_gap_in_the_laptops_day_is_told(store: Store) -> None:
    slept, clock = [100.0], [NOW]
    gaps = Gaps(lambda: slept[0], lambda: clock[0])
    assert gaps.look() is None
    slept[0] += 0.4  # what a clock that is set right drifts
    assert gaps.look() is None
    slept[0], clock[0] = slept[0] + 1740.0, NOW + datetime.timedelta(minutes=29)
    gap = gaps.look()
    assert gap == (NOW, NOW + datetime.timedelta(minutes=29))
    assert gaps.look() is None
    with client_of(store) as laptop:
        desk_of_client(laptop).slept(*gap)
        assert "the laptop slept, or its clock was set, from 08:00:00 to 08:29:00" in laptop.get("/live").text


def test_what_is_not_encrypted_is_said_in_red(
    store: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with client_of(store, lan=Lan.at({HOST}, 80, None, lambda: ["192.0.2.9"])) as laptop:
        for page in ("/shoot", "/live", "/connect"):
            assert '<p class="wrong">Not encrypted' in laptop.get(page).text
    with client_of(store, lan=Lan.at({HOST}, 80, tmp_path, lambda: ["192.0.2.9"])) as laptop:
        assert "Not encrypted" not in laptop.get("/connect").text
        lan = laptop.app.state.pages.lan  # type: ignore[attr-defined]
        text = laptop.post("/connect/code", data={"role": "look"}).text
        assert all(print_ in text for print_ in lan.fingerprints())
    assert call(capsys, "serve", "--plain").status == 2
    with outside(tmp_path, "--lan", "--plain") as running:
        assert "NOT ENCRYPTED" in running.said


def test_no_page_needs_what_only_a_trusted_certificate_allows() -> None:
    needs = r"serviceWorker|wakeLock|crypto\.subtle|navigator\.clipboard|caches\.|geolocation|getUserMedia"
    for file in STATIC.rglob("*.js"):
        assert not re.search(needs, file.read_text("utf-8")), file
    assert "localStorage" in (STATIC / "lib" / "net.js").read_text("utf-8")


# By hand, in Chromium.


def test_a_new_telephone_joins_in_four_taps_warnings_included(browser: Any, store: Store, tmp_path: Path) -> None:
    address = next(iter(lan_addresses()), "")
    chromium = shutil.which("chromium")  # the warning is a page of its own, which the shell without windows lacks
    if not address or chromium is None:
        pytest.skip("this machine is on no network, or has no Chromium with windows")
    demo_into(store)
    with open_pages(store, tmp_path / "door", address) as (app, lan):
        windows = browser.browser_type.launch(executable_path=chromium, args=CHROMIUM_ARGS)
        context = windows.new_context(viewport={"width": 390, "height": 844})
        page, taps = context.new_page(), 1  # what the camera shows is tapped
        with pytest.raises(Exception, match="ERR_CERT_AUTHORITY_INVALID"):
            page.goto(f"{lan.urls[0]}/join#{app.state.pages.codes.new('edit', 'Telephone')}")
        for of_the_warning in ("#details-button", "#proceed-link"):
            page.click(of_the_warning)
            taps += 1
        page.wait_for_url("**/plan")
        assert taps <= 4
        (cookie,) = context.cookies()
        assert (cookie["secure"], cookie["httpOnly"], cookie["sameSite"]) == (True, True, "Strict")
        page.goto(f"{lan.urls[0]}/shoot")
        title = page.get_by_label("Title").first
        title.fill("From the telephone")
        title.blur()
        expect(page.locator("#status .says")).to_contain_text("From the telephone")
        assert store.document().at("shoot", "title") == "From the telephone"
        (device,) = store.devices()
        store.revoke_device(device.id, "laptop")  # its stream ends, and it comes in no more
        page.goto(f"{lan.urls[0]}/plan")
        expect(page.locator("body")).to_contain_text("This device is not paired")
        windows.close()
        # A browser that is told the fingerprint of the key, as Connect shows it, takes this laptop for what it is.
        told = pin(bytes.fromhex(lan.fingerprints()[0].replace(" ", "")))
        args = [*CHROMIUM_ARGS, f"--ignore-certificate-errors-spki-list={told}"]
        pinned = browser.browser_type.launch(executable_path=chromium, args=args)
        page = pinned.new_page()
        page.goto(f"{lan.urls[0]}/join")
        expect(page.locator("#answer")).to_contain_text("There is no code in this address")
        pinned.close()
